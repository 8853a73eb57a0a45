"""A score made by another library, musicxml, which shares no code with ours."""

from pathlib import Path

from musicxml.xmlelement import xmlelement as xml


def other_score(path: Path) -> None:
    """Write two bars for a tenor saxophone and a voice, the first repeated."""
    root = xml.XMLScorePartwise(version="4.0")
    root.xml_part_list = listed = xml.XMLPartList()
    for key, name in (("P1", "Tenor Sax"), ("P2", "Voice")):
        part = listed.add_child(xml.XMLScorePart(id=key))
        part.xml_part_name = name
    horn = _part(root, "P1", transposed=True)
    _notes(horn[0], [("C", 4, 12)])
    _notes(horn[1], [("E", 4, 8), ("", 0, 4)])
    voice = _part(root, "P2", transposed=False)
    _notes(voice[0], [("B", 3, 4, -1), ("C", 4, 8)])
    _notes(voice[1], [("D", 4, 12)])
    for measures in (horn, voice):
        line = measures[0].add_child(xml.XMLBarline(location="right"))
        line.add_child(xml.XMLRepeat(direction="backward"))
    root.write(path)


def _part(root: xml.XMLScorePartwise, key: str, *, transposed: bool) -> list[xml.XMLMeasure]:
    part = root.add_child(xml.XMLPart(id=key))
    made = [part.add_child(xml.XMLMeasure(number=str(number))) for number in (1, 2)]
    head = made[0].add_child(xml.XMLAttributes())
    head.xml_divisions = 4
    time = head.add_child(xml.XMLTime())
    time.xml_beats, time.xml_beat_type = "3", "4"
    if transposed:
        moved = head.add_child(xml.XMLTranspose())
        moved.xml_diatonic, moved.xml_chromatic, moved.xml_octave_change = -1, -2, -1
    return made


def _notes(measure: xml.XMLMeasure, notes: list[tuple]) -> None:
    for step, octave, duration, *alter in notes:
        note = measure.add_child(xml.XMLNote())
        if step:
            pitch = note.add_child(xml.XMLPitch())
            pitch.xml_step, pitch.xml_octave = step, octave
            if alter:
                pitch.xml_alter = alter[0]
        else:
            note.add_child(xml.XMLRest())
        note.xml_duration = duration
