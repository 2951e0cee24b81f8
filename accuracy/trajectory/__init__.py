"""The flown trajectory held against itself, the cloud and the record of the base."""
