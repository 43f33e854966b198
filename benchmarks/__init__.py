"""Measurements that take longer than a test may: speed against peers, and coverage of intervals."""
