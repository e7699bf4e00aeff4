"""What can be noticed about exposure, sharpness, scale, light and the zones themselves?"""

from calibration.finding_kind import FindingKind, Severity

KINDS = (
    FindingKind(
        "clipped",
        Severity.WARNING,
        "{percent:.1f} % of the board is at full scale in a colour channel (limit {limit:.1f} %).",
        "Retake with less exposure, and turn the lamps until no highlight shows.",
        "A clipped channel has lost its colour before any balance. Such pixels are left out of every measure.",
    ),
    FindingKind(
        "colour-cut-off",
        Severity.WARNING,
        "In {percent:.0f} % of the board a channel is at zero (limit {limit:.0f} %): the colour is stronger than the "
        "photo's colour space holds.",
        "Set the camera to a wider colour space (Display P3, opRGB), or photograph in raw.",
        "What lies outside the colour space is cut off before the photo is saved: strong yellows and reds then read "
        "weaker than they are.",
    ),
    FindingKind(
        "too-dark",
        Severity.WARNING,
        "The board is under-exposed: its brightest parts reach {percent:.1f} % of full scale (wanted {limit:.0f} %).",
        "Give more exposure.",
        "Camera noise and 8-bit steps grow in the dark: one step is 0.5 L* at code 30.",
    ),
    FindingKind(
        "blurred",
        Severity.WARNING,
        "The photo is blurred: edges are {blur_mm:.1f} mm wide (limit {limit:.1f} mm).",
        "Hold the phone still or use a stand, and tap on the board to focus.",
        "Colour means survive blur; blotches finer than the blur do not, and the evenness would look too good.",
    ),
    FindingKind(
        "too-few-pixels",
        Severity.WARNING,
        "Only {px_per_mm:.1f} px/mm on the board (wanted {limit:.1f}).",
        "Move closer, or send the full-size photo.",
        "Fine texture can no longer be told from blotch.",
    ),
    FindingKind(
        "far-too-few-pixels",
        Severity.UNUSABLE,
        "Only {px_per_mm:.2f} px/mm on the board (at least {limit:.2f} needed).",
        "Move closer, or send the full-size photo.",
        "At this scale a blotch of 4 mm is smaller than a few pixels.",
    ),
    FindingKind(
        "light-not-mapped",
        Severity.NOTE,
        "The light over the board was not mapped: {percent:.0f} % of uneven light would look like {L_star:.1f} L*.",
        "Give a photo of a plain sheet in the same place and light (flat = …), or use edge strips.",
        "Five per cent of light is one L* at L* 45. The uncertainty carries what the surroundings of the board let "
        "expect.",
    ),
    FindingKind(
        "light-from-others",
        Severity.NOTE,
        "No strips lie beside this board: its light was taken from the paper of strips {distance_mm:.0f} mm away.",
        "Lay strips beside every board whose evenness matters.",
        "Light is smooth, so it may be followed a little beyond where it was measured; the further, the less sure. The "
        "uncertainty grows with the distance.",
    ),
    FindingKind(
        "light-uneven",
        Severity.WARNING,
        "The background around the board brightens by {percent:.0f} % across it (limit {limit:.0f} %).",
        "Move the lamps further away and use two of the same kind, one on each side.",
        "Seen on the calm background around the board. It is not used to correct anything, only to widen the "
        "uncertainty.",
    ),
    FindingKind(
        "mixed-light",
        Severity.WARNING,
        "The light changes colour across the board: by {percent:.0f} % between two colour channels.",
        "Use lamps of one kind only, and shut out daylight.",
        "Seen on the strips' white paper or the plain sheet, and divided out for each colour channel. The camera's "
        "correction holds for one light, so colours in the other one are less sure: for every 10 % between two places "
        "by about 0.7 in a* and b*, which their uncertainty carries; with fluorescent tubes by up to 2.",
    ),
    FindingKind(
        "shadow-edge",
        Severity.WARNING,
        "The light has a step or a hot spot that the light map cannot follow: {where}.",
        "Take away what throws the shadow, and keep hands, rulers and lamps' hot spots off the board and the strips.",
        "Several neighbouring white fields of a strip are off the smooth light by more than 2.5 %: 0.55 L* at L* 50, "
        "and more of them than dirt would take. Nothing there is corrected for it; the uncertainty of what lies there "
        "carries it. The strips see the light along the board's long edges only: a shadow or a hot spot in the middle "
        "of the board that reaches neither strip cannot be seen by them, so look at the board itself.",
    ),
    FindingKind(
        "zone-in-shadow",
        Severity.WARNING,
        "Zone {zone} lies where the light has a step or a hot spot.",
        "Take away what throws the shadow, and photograph again.",
        "The zone's uncertainty holds the whole step; what is seen there may be the light's.",
    ),
    FindingKind(
        "light-residual",
        Severity.WARNING,
        "The strips' white paper differs from a smooth light by {percent:.1f} % (limit {limit:.1f} %).",
        "Use clean, freshly printed strips and lay them flat; keep shadows off them.",
        "Each white field is foretold from the others. Where that fails, the light map is less sure than usual.",
    ),
    FindingKind(
        "flat-unusable",
        Severity.WARNING,
        "The photo of the plain sheet was not used: {reason}.",
        "Photograph a clean, plain sheet in the same place, light and framing as the board, not clipped.",
        "A sheet that is dark, clipped or not plain would print its own faults on the board.",
    ),
    FindingKind(
        "glare",
        Severity.WARNING,
        "Glare or specks cover {percent:.0f} % of zone {zone} and were left out.",
        "Turn the lamps or the board until the highlights go.",
        "Pixels far brighter than their zone are masked before anything is averaged.",
    ),
    FindingKind(
        "lap-marks",
        Severity.WARNING,
        "Bands across the grain in zone {zone}: {L:.1f} L*. They look like lap marks.",
        "Look at the board. Keep a wet edge, and go along the grain from end to end; then take a new sample.",
        "Bands of 15 to 80 mm, straight across the grain, far stronger than clouds of the same size. Those up to "
        "50 mm count as blotch, but they come from how the stain was laid on, not from how the wood takes it. Curly "
        "figure that runs straight across the grain looks the same.",
    ),
    FindingKind(
        "wood-wet",
        Severity.WARNING,
        "The photo says {stage}, but the wood shines as if wet: {seen}.",
        "Photograph it again when it is dry, or give the photo the stage wet. If it is dry, wipe off dust and turn the "
        "lamps until nothing shines.",
        "Wet wood is darker and more saturated than dry wood. Seen are highlights in the colour of the light: many "
        "small ones, or a broad sheen. A damp surface without highlights, and nearly gray or black stains, cannot be "
        "told. White dust, and dry shellac or oil that shines, look the same. Sealed and top-coated stages are not "
        "judged.",
    ),
    FindingKind(
        "zone-covered",
        Severity.WARNING,
        "{percent:.0f} % of zone {zone} is hidden and was left out.",
        "Lay the card beside the board, or between the zones, and keep the whole board in frame.",
        "The gray card and its rim lie over the zone, or the zone reaches beyond the photo.",
    ),
)
