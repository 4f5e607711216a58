"""The finding as a letter to a customer, in plain words."""
