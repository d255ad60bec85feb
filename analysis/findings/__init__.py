"""Costed job lines to what they say: hours, film, margins, redos and the shop's result."""
