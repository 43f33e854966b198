"""Whether intervals hold what they promise: simulated benches, fitted, and counted. Nothing heavy here."""
