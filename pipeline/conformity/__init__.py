"""Whether a compound and each of its batches meet the target, by a stated decision rule with its risk."""
