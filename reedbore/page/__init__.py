"""The page: one local page in a browser for all that is worth seeing or hearing.

``server`` answers the browser and keeps strangers out, ``words`` reads what it sends, ``api`` turns
that into sound, pictures and verdicts; the page itself is in ``static/``.
"""
