"""What a player types, to a tuned setup or a passage."""
