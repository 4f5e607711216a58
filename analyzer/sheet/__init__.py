"""A guide of one page for whoever records an instrument, in plain words."""
