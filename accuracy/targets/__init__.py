"""Targets of a job: measured in its clouds and orthophotos, and the deliverables set against each other."""
