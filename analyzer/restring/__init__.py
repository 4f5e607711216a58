"""What other strings will change, before they are on."""
