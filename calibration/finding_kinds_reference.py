"""What can be noticed about the gray card, step card or chart, and about what it told of the camera?"""

from calibration.finding_kind import FindingKind, Severity

KINDS = (
    FindingKind(
        "card-missing",
        Severity.UNUSABLE,
        "The gray card was not found: {reason}.",
        "Give its corners in job.toml: card = [[x, y], …], or lay it flat beside the board, wholly in frame.",
        "The card is searched as a calm, neutral, four-sided patch.",
    ),
    FindingKind(
        "card-is-chart",
        Severity.UNUSABLE,
        "A 24-patch colour chart was seen, but no gray card beside it.",
        'If the chart is the reference, say so in job.toml: kind = "chart-24" under [reference], with its values or '
        "edition. Else lay a gray card beside the board.",
        "Each gray patch of a chart looks like a gray card. Taken for one of 18 %, it would make every colour too "
        "light or too dark, by up to five times.",
    ),
    FindingKind(
        "chart-seen",
        Severity.NOTE,
        "There is no gray card in the photo; it was checked by its 24-patch colour chart.",
        'Say in job.toml that the chart is the reference: kind = "chart-24" under [reference], with its values or '
        "edition.",
        "Without a job file, a photo is checked by a gray card, or by a chart where there is none.",
    ),
    FindingKind(
        "tone-unsure",
        Severity.WARNING,
        "The camera's tone curve could not be taken back: {reason}.",
        "Switch off HDR, filters and scene modes, keep shade and shine off the reference, and let it and the board "
        "fill "
        "the frame; or use the camera's raw format.",
        "Cameras raise contrast and lenses scatter light. Known neutral steps show both, and then they are taken back; "
        "otherwise a pair of colours may be wrong by up to 0.7 Delta E 2000, a single one by up to 4.",
    ),
    FindingKind(
        "correction-used",
        Severity.NOTE,
        "Tone curve and colours are corrected by {file}, taken {date} ({reference}): {residual}.",
        "Nothing to do. Photograph the chart anew when lamps, lens or the camera's software change.",
        "A chart or step card shows what a camera makes of a light. That is kept for later photos of the same camera, "
        "lens and light; the gray card in each of them sets neutral and level.",
    ),
    FindingKind(
        "correction-not-fitting",
        Severity.WARNING,
        "No correction was used, the gray card counts alone: {difference}.",
        "Photograph the chart with this camera, lens and light, white balance locked, and name that photo under "
        "[correction] in job.toml.",
        "A correction holds for one camera and lens, one light and one colour profile. Used for another it may make "
        "colours worse, and nothing in the photo would show it.",
    ),
    FindingKind(
        "step-card-missing",
        Severity.UNUSABLE,
        "The step card was not found: {reason}.",
        "Give the corners of its row of steps in job.toml: card = [[x, y], …], or lay it flat beside the board, wholly "
        "in frame, each step at least 1/60 of the photo wide.",
        "The card is searched as a row of calm, neutral steps, each darker than the last, with the lightness that "
        "their "
        "reflectances ask for.",
    ),
    FindingKind(
        "step-card-few",
        Severity.UNUSABLE,
        "Only {count} of the step card's {steps} steps can be used (at least {limit} needed): {reason}.",
        "Keep shade, shine and things off the card; retake with less exposure when its white is at full scale.",
        "Two steps cannot tell the camera's tone curve from the exposure.",
    ),
    FindingKind(
        "step-card-partial",
        Severity.WARNING,
        "{count} of the step card's {steps} steps were left out: {reason}.",
        "Keep shade, shine and things off the card; retake with less exposure when its white is at full scale.",
        "The fewer steps, the less of the camera's tone curve is seen, and the wider is the uncertainty.",
    ),
    FindingKind(
        "card-uneven",
        Severity.WARNING,
        "The light changes by {percent:.0f} % across the gray card (limit {limit:.0f} %).",
        "Move the lamps further away, and keep shadows off the card.",
        "The card alone sets neutral and level. When the light changes across it, it changes across the board too.",
    ),
    FindingKind(
        "card-tilted",
        Severity.WARNING,
        "The gray card leans by about {lean_deg:.0f}° against the board (limit {limit:.0f}°), or part of it is hidden.",
        "Lay the card flat, at the height of the board's face, with nothing under it or on it, and no shadow over it.",
        "A card that leans toward a lamp gets more light than the board, and every colour is then read too dark: 7° "
        "toward a lamp that shines from the side at 45° make 11 % of level, 2.4 L* at L* 50. Told by opposite sides "
        "of the card that are not alike on the board's plane; a small card, or a photo from far away, shows less.",
    ),
    FindingKind(
        "card-shaded",
        Severity.WARNING,
        "A shadow lies {where} the gray card: {percent:.0f} % darker than the rest.",
        "Take away what throws the shadow: your hand, the phone, the board's own edge.",
        "A card in shadow gets less light than the board, and every colour is then read too light: 10 % are 2 L*. Told "
        "by a step or an edge on the card, or by a calm background that is darker around the card than elsewhere. A "
        "shadow that just covers the card, or the whole background, cannot be told.",
    ),
    FindingKind(
        "card-glossy",
        Severity.WARNING,
        "A lamp is reflected by the gray card: {what}.",
        "Turn the card or move the lamps until it looks alike everywhere; wipe it, or use a matt card.",
        "Shine adds light that has not been through the card's gray, and every colour is then read too dark. The "
        "brightest part is left out, what lies around it is not. A sheen that is alike all over the card is not seen.",
    ),
    FindingKind(
        "card-not-neutral",
        Severity.WARNING,
        "What was taken for the gray card is not neutral: a colour channel is off by {percent:.0f} % against {than}.",
        "Check that it is the gray card, not a mat or a notebook (card = [[x, y], …] in job.toml), that it is clean, "
        "and that one kind of light falls on it; set the white balance to the lamps.",
        "Whatever is taken for the card is made neutral, and all colours move with it. With edge strips it is compared "
        "with their white paper. Without them only a colour can be told that no usual lamp and white balance leave: a "
        "beige mat passes.",
    ),
    FindingKind(
        "card-covered",
        Severity.WARNING,
        "Something lies on the gray card: {percent:.0f} % of its middle was left out.",
        "Take it away, or check the card's corners in job.toml.",
        "The level is read from the largest even part of the card. With less than 55 % of it left nothing is measured.",
    ),
    FindingKind(
        "card-small",
        Severity.WARNING,
        "The gray card covers only {pixels} pixels (wanted {limit}).",
        "Move closer, or use a larger card.",
        "The fewer pixels, the more camera noise is left in neutral and level.",
    ),
    FindingKind(
        "card-clipped",
        Severity.UNUSABLE,
        "{percent:.1f} % of the gray card is at full scale in a colour channel (limit {limit:.1f} %).",
        "Retake with about one stop less exposure.",
        "A clipped card no longer tells the colour or the level of the light.",
    ),
    FindingKind(
        "card-dark",
        Severity.WARNING,
        "The gray card is very dark in the photo ({percent:.1f} % of full scale; wanted at least {limit:.0f} %).",
        "Give more exposure: an 18 % card should look middle gray.",
        "Few code values are left for the dark stains, so noise and rounding grow.",
    ),
    FindingKind(
        "chart-misfit",
        Severity.WARNING,
        "The chart's colours fit its values badly: {residual:.1f} on average (limit {limit:.1f}, CIEDE2000).",
        "Check the edition or the values file in job.toml, that the chart is clean, and that one kind of light falls "
        "on "
        "it.",
        "Each patch is foretold from the others. A chart of the other edition, faded or in mixed light does not agree "
        "with itself; the uncertainty is widened by as much.",
    ),
    FindingKind(
        "chart-missing",
        Severity.UNUSABLE,
        "The 24-patch chart was not found: {reason}.",
        "Lay it flat beside the board, wholly in frame, or give its corners in job.toml: card = [[x, y], …].",
        "The chart is searched as a lattice of even patches, and known by their colours: at least half of them must "
        "show. Warm lamps at a camera's daylight setting may leave nothing in the blue channel, and no colour to know "
        "it by: set the white balance to the lamps.",
    ),
    FindingKind(
        "chart-mirrored",
        Severity.UNUSABLE,
        "The photo is mirrored: the 24-patch chart's colours stand in mirrored order.",
        "Send the original photo; switch off mirroring if a front camera was used.",
        "A mirrored photo swaps the ends of the board, and with them the zones.",
    ),
    FindingKind(
        "chart-patches-few",
        Severity.UNUSABLE,
        "Only {used} of the chart's 24 patches can be used (at least {limit} needed): {which}.",
        "Keep the whole chart in even light, free of shadows, highlights and things lying on it, and nothing clipped.",
        "A camera's correction is fitted to the patches. With fewer, or without light and dark neutrals, it would "
        "bend.",
    ),
    FindingKind(
        "chart-patches-left-out",
        Severity.WARNING,
        "Patches of the chart that are {why} were left out: {which}.",
        "Take away what lies on the chart, keep it wholly in frame, and give enough light.",
        "The correction rests on the other patches. Each patch is held against what the others say of camera and "
        "light.",
    ),
    FindingKind(
        "chart-clipped",
        Severity.WARNING,
        "Patches of the chart at full scale were left out: {which}.",
        "Retake with about one stop less exposure; the chart's white should not burn out.",
        "A clipped patch no longer tells its colour. The white and the vivid warm patches clip first.",
    ),
    FindingKind(
        "chart-shaded",
        Severity.WARNING,
        "A shadow lies on patches of the chart, which were left out: {which}.",
        "Move what throws the shadow, or turn the chart towards the light.",
        "A patch is in shadow when it is darker than the others let expect, and of the right colour.",
    ),
    FindingKind(
        "chart-glossy",
        Severity.WARNING,
        "Patches of the chart shine, and were left out: {which}.",
        "Turn the chart or the lamps until no highlight shows on it.",
        "Light that a glossy patch reflects like a mirror is added to its colour, and makes it lighter and paler.",
    ),
    FindingKind(
        "chart-small",
        Severity.WARNING,
        "The patches of the chart are only {pixels:.0f} pixels wide (wanted {limit:.0f}).",
        "Move closer, or use a larger chart.",
        "The fewer pixels, the more camera noise and blur from the neighbours are left in each patch.",
    ),
    FindingKind(
        "chart-values",
        Severity.UNUSABLE,
        "The chart's own values cannot be used: {reason}.",
        "Write the header L,a,b and 24 rows of numbers, row by row from dark skin, or name the chart's edition "
        "instead.",
        "The file is checked with the job file, before anything is measured. Values far from the published ones are "
        "rows in another order, or a slip of the pen.",
    ),
    FindingKind(
        "card-beyond-strips",
        Severity.WARNING,
        "The light at the gray card is only known to {percent:.0f} % against the board's (limit {limit:.0f} %): it "
        "lies "
        "too far from where the strips show the light.",
        "Lay the card close to one end of the board, between the lines of the two strips.",
        "Between and along the strips the light can be told to a per cent or less. Above the upper or below the lower "
        "one it must be guessed on, and the further out the worse. Every colour's level carries that; differences "
        "within the photo do not.",
    ),
)
