"""Which things can a check notice, how grave are they, and what should the finisher do?  The one table of them."""

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """How far a finding reaches."""

    NOTE = "note"  # good to know; the numbers stand
    WARNING = "warning"  # measured, with a wider uncertainty or a reservation
    UNUSABLE = "unusable"  # not measured


@dataclass(frozen=True, slots=True)
class FindingKind:
    """One thing that a check can notice."""

    code: str
    severity: Severity
    line: str  # for the finisher; {names} are filled with what was found
    remedy: str
    explanation: str


KINDS = (
    FindingKind(
        "photo-unreadable",
        Severity.UNUSABLE,
        "The photo cannot be read: {reason}.",
        "Export it again as JPEG, PNG or TIFF.",
        "The file is missing, damaged, too large, or of a kind that this version does not decode.",
    ),
    FindingKind(
        "no-profile",
        Severity.NOTE,
        "The photo carries no colour profile; sRGB is assumed.",
        "Send the original file: messaging apps and some editors strip the profile.",
        "A wide-gamut phone photo read as sRGB is wrong by about 8 Delta E on wood.",
    ),
    FindingKind(
        "profile-damaged",
        Severity.WARNING,
        "The photo's colour profile cannot be used ({reason}); sRGB is assumed.",
        "Send the original file, or export it again with its colour profile embedded.",
        "A wide-gamut phone photo read as sRGB is wrong by about 8 Delta E on wood.",
    ),
    FindingKind(
        "profile-8-bit",
        Severity.NOTE,
        "The colour profile is table-based and was applied in 8 bits.",
        "Nothing to do; a photo with an ordinary profile is slightly more exact.",
        "Profiles made of a matrix and three curves are applied in floating point, table-based ones by the colour "
        "management library with 8-bit rounding: up to half a code value a pixel, averaged out over a zone.",
    ),
    FindingKind(
        "curve-assumed",
        Severity.NOTE,
        "The photo states its primaries, but not a photo's tone curve; that of sRGB is assumed.",
        "Nothing to do; a photo with an embedded profile is surer.",
        "Some phones mark their photos with the tone curve of video, but encode them as all photos are encoded.",
    ),
    FindingKind(
        "flash-fired",
        Severity.WARNING,
        "The flash fired.",
        "Switch the flash off, and light the board from both sides.",
        "A flash beside the lens adds a second light of another colour, weaker towards the edges, and shines back from "
        "any gloss. The card corrects one light, not two.",
    ),
    FindingKind(
        "digital-zoom",
        Severity.WARNING,
        "Digital zoom was used ({ratio:.1f} x): the pixels are enlarged, not finer.",
        "Move closer instead, or choose a lens, and leave the zoom alone.",
        "Digital zoom enlarges the middle of the picture. The scale looks finer than the detail is, and phones sharpen "
        "such pictures more.",
    ),
    FindingKind(
        "screenshot",
        Severity.WARNING,
        "This looks like a screenshot, not a photo.",
        "Send the photo's own file.",
        "A screenshot shows the photo as the screen shows it: scaled, in the screen's colours, often dimmed or warmed. "
        "Told by the comment in the file, or by a screen's shape where no camera is named.",
    ),
    FindingKind(
        "app-copy",
        Severity.WARNING,
        "This looks like a copy from a messaging app or a web page: no camera named, {width} x {height} "
        "pixels{compressed}.",
        "Send the original: by cable, as a file attachment, or from a shared folder at full size.",
        "Apps shrink photos, compress them again and drop what the camera wrote. Fine texture goes first, and with it "
        "a part of the blotch; the colour profile may be gone too.",
    ),
    FindingKind(
        "compressed",
        Severity.WARNING,
        "The photo is strongly compressed (JPEG quality about {quality}; wanted at least {limit}).",
        "Set the camera to fine or best quality, and send the original file.",
        "Strong compression makes blocks of 8 pixels and drops weak colour differences.",
    ),
    FindingKind(
        "gain-map",
        Severity.NOTE,
        "The photo carries a second picture for bright screens; only the ordinary one is measured.",
        "Switch HDR off where the camera lets you.",
        "Phones store a map by which bright screens raise the highlights. It is not applied: the ordinary picture is "
        "the one that its profile describes. It is often made from several exposures.",
    ),
    FindingKind(
        "exposures-merged",
        Severity.WARNING,
        "The phone merged several exposures (HDR or night mode).",
        "Switch HDR and night mode off, and give steady light.",
        "Merged exposures are brightened and darkened place by place, so the gray card no longer tells the light on "
        "the wood. Told by what the phone wrote into the file.",
    ),
    FindingKind(
        "composite",
        Severity.NOTE,
        "The phone says that it made the picture from several shots.",
        "Nothing to do in good light; compare zones within one photo.",
        "Most phones average several shots against noise, which does no harm, and some brighten shadows with it, which "
        "does. The file does not tell which.",
    ),
    FindingKind(
        "portrait-mode",
        Severity.WARNING,
        "The photo was taken in portrait mode: parts of it are blurred afterwards.",
        "Use the plain photo mode.",
        "Portrait mode guesses what the background is, blurs it and may relight the rest.",
    ),
    FindingKind(
        "panorama",
        Severity.WARNING,
        "The photo is a panorama, put together from many.",
        "Take one plain photo with the whole board in it.",
        "A panorama is bent and blended: straight edges are not straight, and the light of one part is carried into "
        "another.",
    ),
    FindingKind(
        "raw-developed",
        Severity.WARNING,
        "The raw file holds a picture that the phone has already put together and developed.",
        "Nothing to do; a plain raw photo, one number for each sensor pixel, is straighter.",
        "Such files are linear, but made from several shots, with noise and sharpness changed, and sometimes with "
        "shadows raised. They are measured as they are.",
    ),
    FindingKind(
        "raw-shading",
        Severity.WARNING,
        "The camera's own correction of darker corners is not applied to this raw file.",
        "Use edge strips, or a photo of a plain sheet in the same place and light (flat = …).",
        "Raw files of phones list how much the lens darkens the corners, often by half. A light map takes that out "
        "together with the light; without one it would look like a darker end of the board.",
    ),
    FindingKind(
        "same-photo",
        Severity.WARNING,
        "This is the same file as {other}, under another name: it was counted once.",
        "Take the photo again: a copy tells nothing about how well a measurement repeats.",
        "Repeated photos of a board at one stage and in one light are pooled, and their spread enters the uncertainty.",
    ),
    FindingKind(
        "camera-differs",
        Severity.WARNING,
        "{file} was taken with {camera}, {other} with {usual}.",
        "Take all photos of a job with one camera and one lens; on a phone, at the same zoom.",
        "Two cameras see the same wood differently, by several Delta E under the same card. Differences within one "
        "photo stand; those between photos of two cameras carry both cameras' whole uncertainty. Told by make, model "
        "and lens in the EXIF data, among the photos of one stage; photos without them are not compared.",
    ),
    FindingKind(
        "light-differs",
        Severity.WARNING,
        "{file} and {other} count as taken in the same light, but {difference}.",
        "If the light was another, give the photo its own name in job.toml (light = …); or photograph again in the "
        "light of the others.",
        "The card takes out how strong and how coloured the light is, not how it makes two stains look apart. The "
        "light's level follows from exposure time, f-number and sensitivity; a factor of 4 is another lamp or time of "
        "day. The card's own colour tells something only as far as the camera's white balance was the same: 15 % when "
        "it was set by hand, 50 % when it was automatic. Only photos of one camera and lens are compared. Another lamp "
        "of like strength under automatic white balance is not seen.",
    ),
    FindingKind(
        "stage-too-soon",
        Severity.WARNING,
        "{file} was taken {minutes:.0f} minutes after {other} (stage {earlier}): too soon to be {stage} and dry "
        "(at least {limit:.0f} minutes).",
        "Check the stage in job.toml: just wiped and still damp is the stage wet. Otherwise photograph again when dry; "
        "the label says how long that takes.",
        "Damp wood is darker and more saturated than it will be when dry. Told by the time in the EXIF data of two "
        "photos of one board by one camera; a photo taken later may be too early all the same.",
    ),
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
