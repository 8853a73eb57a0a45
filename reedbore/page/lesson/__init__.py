"""The lesson: what its steps say (``steps``), and how answers are tried (``checks``)."""
