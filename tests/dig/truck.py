"""Two pages for the truck of generated digs, read back from the PDF: pages, sizes, overlaps.

``python tests/dig/truck.py 40`` makes forty digs and tells what is wrong with each.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from itertools import pairwise

import numpy as np
from paper import page_letters, page_texts
from truth.simulate import simulate

from lateral_map.dig_review import build_dig_review
from lateral_map.draw.dig.truck import truck_html
from lateral_map.export.pdf import html_to_pdf
from lateral_map.model.dig import DigReview
from lateral_map.model.site import Finding, Reach, SoilLayer, UtilityLine
from lateral_map.report import build_report

KINDS = ("gas", "electric", "water", "communication", "sewer", "reclaimed")
LEAST_PT = 9.0


def generate(seed: int) -> DigReview:
    """Return the review of a simulated line with up to 4 reaches and 12 utilities about it.

    Every fourth has all of them, and names as long as they come.
    """
    site, truth = simulate(seed)
    full = seed % 4 == 1
    rng = np.random.default_rng(seed)
    end = site.run.end_m
    true = np.array([truth.at(at)[:2] for at in np.linspace(0.0, end, 60)])
    lines = []
    for index in range(12 if full else int(rng.integers(0, 13))):
        k = int(rng.integers(3, 57))
        ahead = true[min(k + 2, 59)] - true[k - 2]
        ahead = ahead / np.hypot(*ahead)
        middle = true[k] + rng.normal(0.0, 1.5) * np.array([ahead[1], -ahead[0]])
        turn = rng.uniform(-0.2, 0.2) if index % 3 == 0 else rng.uniform(0.5, 2.6)
        right = np.array([ahead[1], -ahead[0]])
        way = np.cos(turn) * ahead + np.sin(turn) * right
        ends = np.array([middle - rng.uniform(1, 7) * way, middle + rng.uniform(1, 7) * way])
        depth = None if rng.random() < 0.35 else float(rng.uniform(0.2, 3.5))
        size = None if rng.random() < 0.5 else float(rng.uniform(0.03, 0.6))
        name = f"{KINDS[index % 6]} line {'of some length ' * (2 if full else index % 3)}{index}"
        lines.append(UtilityLine(name, KINDS[index % 6], ends, depth, 0.15, "", size))
    cuts = np.sort(rng.uniform(0.0, end, 8))[: 8 if full else 2 * int(rng.integers(0, 5))]
    if full:
        cuts = np.array([0.02, 0.2, 0.3, 0.45, 0.55, 0.7, 0.8, 0.98]) * end
    named = "from the cleanout to beyond the joint " if full else ""
    reaches = tuple(
        Reach(float(a), float(b), f"{named}{k}" if full else "", "C" if k == 2 else None)
        for k, (a, b) in enumerate(list(pairwise(cuts))[::2])
        if b - a > 0.3
    )
    walls = ("sloped", "shored", "benched", "box and slope")[seed // 4 % 4 if full else seed % 4]
    layers = (SoilLayer(0.6, "C"), SoilLayer(1.2, "A")) if seed % 3 == 0 else ()
    dig = replace(site.dig, soil="B", cohesive=True, layers=layers, walls=walls, box_height_m=1.8)
    findings = site.findings
    if seed % 7 == 3:
        findings = (*findings, Finding(end / 2, "gas pipe through the sewer", severity="severe"))
    site = replace(
        site,
        plan=replace(site.plan, utilities=tuple(lines)),
        dig=dig,
        reaches=reaches,
        findings=findings,
    )
    return build_dig_review(build_report(site))


def faults(review: DigReview, content: bytes) -> list[str]:
    """Return what is wrong with the two pages: their number, small text, text over text, lacks."""
    found = []
    pages = page_letters(content)
    if len(pages) != 2:
        found.append(f"{len(pages)} pages")
    for number, page in enumerate(pages, start=1):
        small = {round(float(size), 1) for size in page.size_pt if size < LEAST_PT - 0.1}
        if small:
            found.append(f"page {number}: text of {small} pt")
        box = page.box_pt
        if (box.min(axis=0)[:2] < 0).any() or (box[:, 2] > page.width_pt).any():
            found.append(f"page {number}: text off the paper")
        if (box[:, 3] > page.height_pt - 15.0).any():
            found.append(f"page {number}: text over the foot")
        found += [f"page {number}: {said}" for said in page.overprinted()[:3]]
    said = page_texts(content)[0]
    head = said.partition("Call 811")[0]
    inside = [one for one in review.conflicts if one.in_the_way or review.reaches_into(one)]
    found += [f"{one.name} is not in the first lines" for one in inside
              if one.name[:20] not in " ".join(head.split())]  # fmt: skip
    return found


if __name__ == "__main__":
    from pathlib import Path

    keep = Path(sys.argv[2]) if len(sys.argv) > 2 else None
    for seed in range(int(sys.argv[1])):
        review = generate(seed)
        content = html_to_pdf(truck_html(review))
        if keep:
            (keep / f"dig_{seed}.pdf").write_bytes(content)
        told = f"{len(review.reaches)} reaches, {len(review.conflicts)} utilities"
        wrong = faults(review, content) or ["ok"]
        sys.stdout.write("\n    ".join([f"{seed}: {told}", *wrong, ""]))
        sys.stdout.flush()
