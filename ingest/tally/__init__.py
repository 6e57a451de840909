"""What the book adds up to: each student's figures, the standings, and what could still change."""
