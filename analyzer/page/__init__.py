"""The report as one page (HTML): to read on a screen, and to print as a card for the bench."""
