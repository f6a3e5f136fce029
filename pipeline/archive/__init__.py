"""What the user puts in: test cards, workspace config, targets, duties, rigs, and the scan of an archive."""
