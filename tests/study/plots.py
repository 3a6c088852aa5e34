#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The plots of docs/study.md from what `PIN16_RELIABILITY=1 study --opponents` printed.
usage: plots.py LOG FOLDER: writes study-reliability.svg and study-measurements.svg."""
import re
import sys

# Okabe and Ito's colours; each policy has a shape of its own too.
POLICIES = [("by information", "#0072B2", "disc"), ("checklist to the same stop", "#D55E00", "square"),
            ("checklist to first fault", "#E69F00", "diamond"), ("random order", "#009E73", "triangle")]
ARRANGEMENTS = ["own-battery", "fed-in-place", "removed"]


def read(path):
    rows, last = {}, None
    for line in open(path):
        if " outside" in line or " two causes" in line:
            last = None  # bins of other rows: not of one cause
            continue
        row = re.match(r"(\S+), (.*?)\s+n (\d+)\s+top-1 ([0-9.]+).*measurements ([0-9.]+)", line)
        if row:
            last = rows[row[1], row[2]] = {"n": int(row[3]), "top1": float(row[4]), "used": float(row[5]), "bins": []}
        point = re.match(r"\s+([0-9.]+) said,\s+([0-9.]+) true", line)
        if point and last is not None:
            last["bins"].append((float(point[1]), float(point[2])))
    return rows


def shape(kind, x, y, colour):
    if kind == "disc":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" fill="{colour}"/>'
    if kind == "square":
        return f'<rect x="{x - 4.5:.1f}" y="{y - 4.5:.1f}" width="9" height="9" fill="{colour}"/>'
    if kind == "diamond":
        return f'<path d="M{x:.1f} {y - 6:.1f}l6 6l-6 6l-6 -6z" fill="{colour}"/>'
    return f'<path d="M{x:.1f} {y - 6:.1f}l6 11h-12z" fill="{colour}"/>'


def text(x, y, what, anchor="middle", size=13):
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size}">{what}</text>'


def figure(width, height, parts):
    return (f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" font-family="sans-serif">\n'
            f'<rect width="{width}" height="{height}" fill="#ffffff"/>\n' + "\n".join(parts) + "\n</svg>\n")


def axes(parts, left, top, side, title):
    parts.append(f'<rect x="{left}" y="{top}" width="{side}" height="{side}" fill="none" stroke="#666666"/>')
    parts.append(text(left + side / 2, top - 8, title, size=14))


def legend(parts, left, y):
    for name, colour, kind in POLICIES:
        parts.append(shape(kind, left, y, colour))
        parts.append(text(left + 12, y + 4, name, "start"))
        left += 32 + 7.2 * len(name)


def reliability(rows):
    parts, side = [], 220
    for k, arrangement in enumerate(ARRANGEMENTS):
        left, top = 60 + k * (side + 45), 30
        axes(parts, left, top, side, arrangement)
        parts.append(f'<path d="M{left} {top + side}l{side} {-side}" stroke="#999999" stroke-dasharray="4 4"/>')
        for tick in (0, 0.5, 1):
            parts.append(text(left + tick * side, top + side + 16, f"{tick:g}"))
            parts.append(text(left - 6, top + side * (1 - tick) + 4, f"{tick:g}", "end"))
        for name, colour, kind in POLICIES:
            for said, true in rows.get((arrangement, name), {"bins": []})["bins"]:
                parts.append(shape(kind, left + said * side, top + side * (1 - true), colour))
    parts.append(text(60 + 1.5 * side + 45, 30 + side + 36, "probability that was said of the cause named; ten bins of equal count"))
    parts.append(f'<text transform="translate(18 {30 + side / 2}) rotate(-90)" text-anchor="middle" font-size="13">how often it was true</text>')
    legend(parts, 80, 30 + side + 60)
    return figure(60 + 3 * (side + 45), 30 + side + 80, parts)


def measurements(rows):
    parts, side, most = [], 220, 40
    for k, arrangement in enumerate(ARRANGEMENTS):
        left, top = 60 + k * (side + 45), 30
        axes(parts, left, top, side, arrangement)
        for tick in (0, 10, 20, 30, 40):
            parts.append(text(left + tick / most * side, top + side + 16, str(tick)))
        for tick in (0.4, 0.6, 0.8, 1):
            parts.append(text(left - 6, top + side * (1 - tick) / 0.6 + 4, f"{tick:g}", "end"))
        for name, colour, kind in POLICIES:
            row = rows.get((arrangement, name))
            if row:
                parts.append(shape(kind, left + min(row["used"], most) / most * side, top + side * (1 - row["top1"]) / 0.6, colour))
    parts.append(text(60 + 1.5 * side + 45, 30 + side + 36, "measurements (mean)"))
    parts.append(f'<text transform="translate(18 {30 + side / 2}) rotate(-90)" text-anchor="middle" font-size="13">right cause named first</text>')
    legend(parts, 80, 30 + side + 60)
    return figure(60 + 3 * (side + 45), 30 + side + 80, parts)


def main():
    rows = read(sys.argv[1])
    if not rows:
        sys.exit(f"{sys.argv[1]}: no row of the study in it")
    for name, draw in (("study-reliability", reliability), ("study-measurements", measurements)):
        with open(f"{sys.argv[2]}/{name}.svg", "w") as f:
            f.write(draw(rows))


main()
