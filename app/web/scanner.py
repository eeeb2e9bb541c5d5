"""The scanner check: one printed code that tells how a scanner's keys arrive at a computer."""

from __future__ import annotations

from flask import Blueprint, Response

from app.web.codes import code128, qr
from app.web.render import page

bp = Blueprint("scanner", __name__)
# Small and large letters, every digit, a hyphen, and the letters that stand elsewhere on German and French keyboards.
# No number and no card reads like it. static/scanner.js knows it by heart.
CHECK_TEXT = "Quay-0123456789-ZWM"


@bp.get("/stations/scanner-check")
def check() -> Response:
    """The card to scan, and what it tells; the browser works it out, nothing is sent."""
    return page(
        "stations/scanner_check.html", text=CHECK_TEXT, square=qr(CHECK_TEXT, 26), lines=code128(CHECK_TEXT, 16)
    )
