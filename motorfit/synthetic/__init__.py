"""Simulated benches with known truth, for the demo and for calibration.

Written apart from the inference: it shares the formulas of `motorfit.physics`, but integrates them in fine
steps of its own, and makes sensor errors of its own. Nothing heavy is imported here.
"""
