"""MusicXML scores by hand, for the tests."""


def score(*parts: list[str] | str, names: tuple[str, ...] = ()) -> bytes:
    """Put measures together to a score: of one part, or a list of them for each part."""
    held = [list(part) for part in parts if isinstance(part, list)] or [list(map(str, parts))]
    called = [*names, *[""] * (len(held) - len(names))]
    listed = "".join(
        f"<score-part id='P{k}'><part-name>{name}</part-name></score-part>"
        for k, name in enumerate(called, 1)
    )
    music = "".join(
        f"<part id='P{k}'>{''.join(measures)}</part>" for k, measures in enumerate(held, 1)
    )
    return f"<score-partwise><part-list>{listed}</part-list>{music}</score-partwise>".encode()
