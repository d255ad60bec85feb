"""Cutting layouts: pieces on strips of film, the shortest and the cheapest; whole units inside."""
