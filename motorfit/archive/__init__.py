"""The library: one netCDF-4 file per fit, and a catalogue that is only an index of them."""
