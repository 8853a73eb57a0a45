"""What can be asked for, frozen and checked: horn, player, voice, passage, and their files."""
