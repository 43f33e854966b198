"""Answers drawn from a stored posterior: parameters with intervals, predicted curves."""
