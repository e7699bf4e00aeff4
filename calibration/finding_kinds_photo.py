"""What can be noticed in a photo's file, and in the photos of a job against each other?"""

from calibration.finding_kind import FindingKind, Severity

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
)
