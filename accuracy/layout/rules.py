"""What the document of a claim wants of number and places of checkpoints: read off its file, nothing else."""

from __future__ import annotations

from accuracy.standards.library import LayoutRules, Standard


def rules_of(standard: Standard) -> LayoutRules:
    """Give what a document wants of the layout; empty rules where its file says nothing of it."""
    return standard.layout
