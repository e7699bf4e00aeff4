"""What can be noticed about where the board lies in the photo?"""

from calibration.finding_kind import FindingKind, Severity

KINDS = (
    FindingKind(
        "nothing-seen",
        Severity.UNUSABLE,
        "This does not look like a photo of a board: neither a board nor a gray card was seen.",
        "Lay the board and the card on a plain sheet, both wholly in frame; or give their corners in job.toml.",
        "Nothing four-sided stands out from a calm background, and no patch is calm, neutral and four-sided as the "
        "card is.",
    ),
    FindingKind(
        "board-not-found",
        Severity.UNUSABLE,
        "The board was not found in the photo: {reason}.",
        "Give its corners in job.toml: corners = [[x, y], …], or lay it on a plain background with all edges in frame.",
        "The board's outline is searched as the largest four-sided shape that stands out from a calm background and "
        "has the board's proportions.",
    ),
    FindingKind(
        "photo-mirrored",
        Severity.UNUSABLE,
        "The photo is mirrored: the markers of the edge strips read only in a mirror.",
        "Send the original photo; switch off mirroring if a front camera was used.",
        "A mirrored photo swaps the ends of the board, and with them the zones.",
    ),
    FindingKind(
        "strips-hidden",
        Severity.WARNING,
        "Only {count} markers of the edge strips can be read ({limit} needed); the strips were not used.",
        "Keep the markers free of fingers, tape, shadows and glare, and all in frame.",
        "The plane and the scale come from the markers' corners.",
    ),
    FindingKind(
        "strips-apart",
        Severity.UNUSABLE,
        "The edge strips lie {apart_mm:.0f} mm apart; the board is {width_mm:.0f} mm wide.",
        "Check the board's width in job.toml, and lay TOP along the top edge, BOTTOM along the bottom edge, each with "
        "its rule against the wood.",
        "The strips' distance is measured from the photo. It may differ from the board's width by what hands leave, "
        "not by centimetres.",
    ),
    FindingKind(
        "strip-missing",
        Severity.WARNING,
        "The {strip} edge strip was not seen; the other one alone was used.",
        "Lay both strips, TOP along the top edge and BOTTOM along the bottom edge, wholly in frame.",
        "One strip tells the plane on its own side only, and how the light changes across the board not at all.",
    ),
    FindingKind(
        "strips-not-flat",
        Severity.WARNING,
        "The strips' markers are off a flat plane by {residual_mm:.1f} mm (limit {limit:.1f} mm).",
        "Lay the strips flat, at the height of the board's face; print them on ordinary office paper at 100 %.",
        "Paper that curls, or lies lower than the board, shifts and scales what is read from it.",
    ),
    FindingKind(
        "zero-arrow-off",
        Severity.WARNING,
        "The zero arrow of the {strip} strip lies {off_mm:.0f} mm from the board's left end (limit {limit:.0f} mm).",
        "Put both zero arrows at the board's left end; or check that the board lies with its left end to the left.",
        "The board's own ends decide where they can be seen; the arrows are what is left when they cannot.",
    ),
    FindingKind(
        "strips-beside-width",
        Severity.WARNING,
        "The distance between the strips differs from the board's width by {error_mm:.0f} mm (limit {limit:.0f} mm).",
        "Push both strips against the wood, and check the board's width in job.toml.",
        "The zones' places across the board are then unsure by about half of that.",
    ),
    FindingKind(
        "length-misfit",
        Severity.WARNING,
        "The board's visible ends differ from its length by {error_mm:.1f} mm (limit {limit:.1f} mm).",
        "Check the board's length in job.toml, that the strips were printed at 100 %, and that they lie at the height "
        "of the board's face.",
        "The scale comes from the strips. Strips that lie lower than the face make the board look too long.",
    ),
    FindingKind(
        "board-turned",
        Severity.WARNING,
        "The board stands upright in the photo; its left end was taken to be at the top.",
        "If that is wrong, give corners in job.toml, top-left first.",
        "An outline does not tell which end is which. A board lying across the photo is read as seen; one standing "
        "upright is read from the top down.",
    ),
    FindingKind(
        "boards-by-order",
        Severity.WARNING,
        "The sizes of the boards {boards} do not tell them apart; they were taken in this order, row by row from the "
        "top of the photo, each row from the left.",
        "Lay the boards in the order in which job.toml names them, or give the corners of each.",
        "Several boards in one photo are told apart by their size: by the distance and length of their strips, or by "
        "their outlines. Boards of one size could be taken for each other.",
    ),
    FindingKind(
        "board-ambiguous",
        Severity.UNUSABLE,
        "More than one place in the photo could be this board's: {reason}.",
        'Name every board that lies in the photo (boards = ["A", "S"]), give this one\'s corners, or take the others '
        "away.",
        "The wrong board would be measured without a sign of it, so none is.",
    ),
    FindingKind(
        "strips-of-others",
        Severity.NOTE,
        "Edge strips of {count} more boards lie in the photo; those were taken that fit this board's size.",
        'Nothing to do if that is so; else name every board of the photo: boards = ["A", "S"].',
        "All strips carry the same markers. Which belong together is told by how they lie, and to which board by its "
        "width and length.",
    ),
    FindingKind(
        "outline-rough",
        Severity.WARNING,
        "The board's outline is only found to about {error_mm:.1f} mm.",
        "Use a background that is clearly lighter or darker than the wood, or give corners.",
        "The edge points do not lie on straight lines as well as they should.",
    ),
    FindingKind(
        "board-cut-off",
        Severity.WARNING,
        "{percent:.0f} % of the board lies outside the photo.",
        "Retake with all of the board in frame, or check the corners in job.toml.",
        "What lies outside is left out of every measure; zones of which too little is left are not measured.",
    ),
    FindingKind(
        "scale-unknown",
        Severity.NOTE,
        "How large the part is, is not known: its colour is measured, its evenness is not.",
        "Give its size (--size LENGTHxWIDTH, or size in verify.toml), or lay edge strips along it.",
        "Blotch is variation between 4 and 50 mm. Without a scale the same clouds look coarse on a small part and fine "
        "on a large one.",
    ),
    FindingKind(
        "corners-misfit",
        Severity.WARNING,
        "By its corners the board is {seen:.2f} times as long as wide; job.toml says {told:.2f}.",
        "Check that the corners start at the board's own top-left, and check its length and width.",
        "Even a camera held askew by 45 degrees changes the proportion by 1.4 only. Corners that start elsewhere turn "
        "the board, and every zone is then read in the wrong place.",
    ),
    FindingKind(
        "nothing-measured",
        Severity.UNUSABLE,
        "None of the board's zones can be measured: they are hidden, clipped or outside the photo.",
        "Retake with the whole board in frame and the card beside it.",
        "A zone is measured when enough of it shows to tell how far its colour varies.",
    ),
)
