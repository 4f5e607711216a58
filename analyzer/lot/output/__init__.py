"""A lot's summary as text for a terminal and as JSON, and its rows as tables."""
