"""What is known of the instrument before anything is heard: its strings and its bridge."""
