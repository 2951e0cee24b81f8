"""The few words that every record of a standard uses."""

from __future__ import annotations

from typing import Literal

Part = Literal["vertical", "horizontal", "3d"]
Component = Literal["east", "north", "up", "horizontal", "3d"]
Cover = Literal["all", "non-vegetated", "vegetated"]

#: How a number was come by. ``read``: in the document or an official companion. ``second-hand``: in a
#: quotation or extract. ``from-memory``: unverified. ``derived``: computed from others. ``client``: set by
#: the client in their own specification.
Verification = Literal["read", "second-hand", "from-memory", "derived", "client"]
