"""What a file is by its first bytes, whatever its name or the phone says.

Only containers that ``recording`` decodes. Sources: the formats' own specifications (Matroska/EBML, ISO/IEC
14496-12, RFC 3533, RIFF, FLAC, ID3v2, ISO/IEC 11172-3 and 13818-7 frame headers, RFC 4867, CAF, ASF).
"""

from __future__ import annotations

NEEDED = 16  # bytes that are looked at, where there are as many
# Boxes that a QuickTime or MP4 file may begin with; "ftyp" nearly always, the others in old or streamed ones.
_BOXES = frozenset({b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"moof", b"styp"})
_TRANSPORT_PACKET = 188


def container_of(head: bytes) -> str:
    """The kind of sound or video container that begins with ``head``; "" where it is none that is known."""
    if head[:4] == b"\x1a\x45\xdf\xa3":
        return "webm"
    if head[4:8] in _BOXES:
        return "mp4"
    if head[:4] == b"RIFF" and head[8:12] in (b"WAVE", b"AVI "):
        return "wav" if head[8:12] == b"WAVE" else "avi"
    for start, kind in (
        (b"OggS", "ogg"), (b"fLaC", "flac"), (b"ID3", "mp3"), (b"#!AMR", "amr"), (b"caff", "caf"),
        (b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", "asf"), (b"\x00\x00\x01\xba", "mpeg"),
    ):  # fmt: skip
        if head.startswith(start):
            return kind
    if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
        return "aiff"
    if len(head) > _TRANSPORT_PACKET and head[0] == head[_TRANSPORT_PACKET] == 0x47:
        return "mpegts"
    return _frames_of(head)


def _frames_of(head: bytes) -> str:
    """Streams of bare frames: a sync word, and a header that such a frame can have."""
    if len(head) < 4 or head[0] != 0xFF:
        return ""
    if head[1] & 0xF6 == 0xF0:  # ADTS: layer 0
        return "aac" if (head[2] >> 2) & 0xF < 13 else ""
    layer, rate, bits = (head[1] >> 1) & 3, (head[2] >> 2) & 3, head[2] >> 4
    return "mp3" if head[1] & 0xE0 == 0xE0 and layer == 1 and rate != 3 and 0 < bits < 15 else ""
