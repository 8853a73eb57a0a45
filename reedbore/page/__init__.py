"""The page: one local page in a browser for all that is worth seeing or hearing.

``serve`` listens, ``app`` answers the browser and keeps strangers out, ``request`` reads what it
sends, ``api`` turns that into sound, pictures and verdicts; the page itself is in ``static/``.
"""
