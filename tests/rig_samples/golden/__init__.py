"""Golden figures: what the samples came to, so that no number moves unseen.

For every stage a small table of rounded figures (`<stage>.csv`: method, subject, figure, value), and in its first lines with
what it was written: the revisions of the stage and of those before it, and how many entries of docs/changes.md name them. A figure
that moves is meant or it is a fault. Meant, it comes with a raised REVISION (else archives keep stale results) and an
entry in docs/changes.md (else nobody knows); then `python -m tests.rig_samples.golden --write` renews the tables, and
only then.

The rule sees what moved since the tables were written. Two changes before one renewal count as one: renew with each.
"""
