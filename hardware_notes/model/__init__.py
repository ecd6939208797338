"""The gauge as solids: every made and every bought part, where it stands, how it moves. Needs build123d."""
