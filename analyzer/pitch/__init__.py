"""The settled pitch of a pluck, from its partials and the law of a string, and how sure it is."""
