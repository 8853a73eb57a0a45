"""Pictures: the only room that knows matplotlib."""
