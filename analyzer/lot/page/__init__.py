"""A lot as one page (HTML): its statistics, its charts, and a row for each instrument."""
