"""Pictures of takes and tables; the only home of matplotlib."""
