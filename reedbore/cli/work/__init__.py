"""What the commands do once they are called: everything that is slow to import."""
