"""From block means to a posterior."""
