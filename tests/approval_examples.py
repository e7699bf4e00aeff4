"""Approvals made on paper: nothing here went through a camera."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from analyzer.approvals import (
    FORMAT,
    KIND,
    Approval,
    ApprovedFile,
    ApprovedJob,
    ApprovedLimits,
    ApprovedSight,
    ApprovedZone,
    approval_json,
    read_approval,
)
from analyzer.measure import METHOD
from analyzer.results import ToolResult
from analyzer.version import tool_version
from calibration.correction import U_UNTOLD_TONE
from calibration.gray_card_error import gray_card_error

PHOTO = b"a photo, as far as hashes care"
PHOTO_SHA256 = "bb85c747da37fa1e10a9f5595b2d9e91d7efd6b9981e090b03fa3dfcffdaf778"
LAB = (38.0, 14.0, 22.0)
XYZ = (0.1137, 0.1004, 0.0375)  # about that colour


def paper_sight(**changes: Any) -> ApprovedSight:  # noqa: ANN401 - fields of a sight
    error = gray_card_error()

    def rows(matrix: Any) -> Any:  # noqa: ANN401 - nested tuples of any depth
        return tuple(rows(row) for row in matrix) if np.ndim(matrix) else float(matrix)

    sight = ApprovedSight(
        file="photos/a.jpg",
        sha256=PHOTO_SHA256,
        taken="2026-03-02T10:00:00",
        camera="Test Camera",
        xyz=XYZ,
        block_xyz=tuple(tuple(XYZ for _ in range(4)) for _ in range(4)),
        across_mm=(5.0, 145.0),
        light_log_rgb=(0.01, 0.01, 0.01),
        u_light=0.006,
        u_light_lab=(0.0, 0.0, 0.0),
        basis="gray card",
        matrix=((0.45, 0.35, 0.14), (0.22, 0.71, 0.06), (0.01, 0.1, 0.7)),
        stated=((0.02, 0.006, 0.0, 0.0), (0.02, 0.0, 0.006, 0.0), (0.02, 0.0, 0.0, 0.006)),
        read=((0.001, 0.0, 0.0), (0.0, 0.001, 0.0), (0.0, 0.0, 0.001)),
        tone_levels=(0.18, 0.0, 1.0),
        tone_covariance=rows(np.diag(U_UNTOLD_TONE**2)),
        tone_from="",
        camera_modes=rows(error.modes),
        camera_unseen=rows(error.unseen),
        camera_widening=error.widening,
        camera_from="",
    )
    return replace(sight, **changes)


def paper_zone(**changes: Any) -> ApprovedZone:  # noqa: ANN401 - fields of a zone
    zone = ApprovedZone(
        id="A/washcoat",
        species="hard maple",
        treatment="shellac washcoat",
        stain="walnut oil stain",
        sheen="satin",
        recipe={"sheen": "satin", "solids": 5},
        stage="topcoated",
        light="shop",
        lab=LAB,
        lab_u95=(3.0, 4.0, 5.0),
        blotch=0.5,
        blotch_u95=0.1,
        figure=0.8,
        patch_mm=9.0,
        area_mm2=12_000.0,
        length_mm=100.0,
        width_mm=150.0,
        sights=(paper_sight(),),
    )
    return replace(zone, **changes)


def paper_approval(**changes: Any) -> Approval:  # noqa: ANN401 - fields of an approval
    approval = Approval(
        format=FORMAT,
        kind=KIND,
        by="O. Brandvold",
        date="2026-03-02T16:30:00+00:00",
        until=None,
        scope="the colour of the bench",
        covers=("colour", "evenness"),
        not_covered=None,
        notes=None,
        supersedes=None,
        zone=paper_zone(),
        range_boards=(),
        limits=ApprovedLimits(2.0, "even", 1.0, 0.0, "agreed"),
        job=ApprovedJob("Hall bench", None, "0" * 64, "1" * 64, {}, (ApprovedFile("photos/a.jpg", PHOTO_SHA256),)),
        tool=ToolResult("evenboard", tool_version(), METHOD),
        sha256="",
    )
    return replace(approval, **changes)


def put(folder: Path, approval: Approval, name: str = "2026-03-02-A-washcoat-topcoated-shop") -> Approval:
    """Write an approval into a job folder, sealed, and read it back."""
    (folder / "approvals").mkdir(parents=True, exist_ok=True)
    path = folder / "approvals" / f"{name}.json"
    path.write_bytes(approval_json(approval))
    return read_approval(path)


def edit(folder: Path, name: str, key: str, value: object) -> None:
    """Change one key of the file by hand."""
    path = folder / "approvals" / f"{name}.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    content[key] = value
    path.write_text(json.dumps(content), encoding="utf-8")
