"""Physics: air, motor, controller, propeller, pack, heat, steady operating point and transient step.

Pure functions on plain numbers or arrays, SI throughout, every argument and result with its unit.
Nothing is imported here so that a caller pays only for the module it uses.
"""
