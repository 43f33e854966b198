"""The HTTP service over a library; installs under the import name ``motorfit_api``."""
