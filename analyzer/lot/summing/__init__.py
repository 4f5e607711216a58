"""The parts of a lot's summary, each from the lot's values as arrays (``arrays``)."""
