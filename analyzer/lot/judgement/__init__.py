"""What a lot has to keep to, and the decision for each instrument with its risk."""
