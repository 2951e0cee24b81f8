"""Invented sites, flights and surveys whose truth is known."""
