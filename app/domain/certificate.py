"""Until when a certificate holds, read off the certificate itself: RFC 5280, 4.1 (its parts) and 4.1.2.5 (its times)."""

from __future__ import annotations

from datetime import UTC, datetime

# Tags of DER (X.690, 8.1.2): the explicit tag 0 of the version, and the two kinds of time.
VERSION, UTC_TIME, GENERALIZED_TIME = 0xA0, 0x17, 0x18


def holds_until(der: bytes) -> datetime:
    """The last moment at which a certificate in DER holds; ValueError for what is none."""
    try:
        (_, certificate), *_ = _parts(der)
        (_, signed), *_ = _parts(certificate)
        fields = _parts(signed)
        if fields[0][0] == VERSION:
            fields = fields[1:]
        # Serial number, signature algorithm, issuer, validity.
        _not_before, (tag, value) = _parts(fields[3][1])
        return _time(tag, value.decode("ascii"))
    except (IndexError, ValueError) as error:
        raise ValueError("This is no certificate.") from error


def _time(tag: int, text: str) -> datetime:
    if tag == UTC_TIME:
        # Of two digits, those from 50 on are of the last century (RFC 5280, 4.1.2.5.1).
        text = ("19" if int(text[:2]) >= 50 else "20") + text
    elif tag != GENERALIZED_TIME:
        raise ValueError(tag)
    return datetime.strptime(text, "%Y%m%d%H%M%SZ").replace(tzinfo=UTC)


def _parts(data: bytes) -> list[tuple[int, bytes]]:
    """The values of this stretch of DER, each with its tag."""
    found, at = [], 0
    while at < len(data):
        tag, length, at = data[at], data[at + 1], at + 2
        if length & 0x80:
            size = length & 0x7F
            length, at = int.from_bytes(data[at : at + size], "big"), at + size
        if at + length > len(data):
            raise ValueError("cut short")
        found.append((tag, data[at : at + length]))
        at += length
    return found
