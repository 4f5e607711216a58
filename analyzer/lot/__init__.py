"""Production lots: many instruments, a decision for each, and the statistics of the process."""
