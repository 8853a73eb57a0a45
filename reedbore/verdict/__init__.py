"""What became of the notes: of a take, of each note of a passage, of each cell of a map."""
