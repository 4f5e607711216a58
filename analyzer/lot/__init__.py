"""Production lots: a decision for each instrument with its risk known, and the process watched."""
