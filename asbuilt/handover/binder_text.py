"""The fixed words of the binder: how to read it, cautions, how it was measured, a glossary."""

from __future__ import annotations

from asbuilt.answers.wording import CAUTIONS as ANSWER_CAUTIONS

FOOT = "Evidence for looking, not permission to drill. Prove dead; follow local code."

READING = (
    "This binder shows what was inside the walls of this building on the day the pictures were taken, before the "
    "walls were covered. Every place is given on a FACE, one side of a wall as seen from inside one room.",
    "OFFSET: how far along the face, to the right, from its LEFT end as you stand in the room and look at it. "
    "HEIGHT: how far up from the floor that was measured from (the floor as it was then; later flooring lies on it). "
    "DEPTH: how far into the wall, always with the face it is counted from: the finished face where the covering's "
    "thickness is on record, else the front of the studs.",
    "+/- is the error at 95 %: the thing lies within it in 19 cases out of 20. It is not the size of the thing.",
    "HATCHED means NOT RECORDED: no picture shows that part of the wall, and what is there is unknown. It does not "
    "mean empty. Plain paper means that pictures show the place and that nothing was marked there, which does not "
    "prove it empty either.",
    "The left end and the floor may be hidden by board and flooring now. Each face lists landmarks that stay visible "
    "(corners, openings, boxes) with their offsets: measure from two of them, and check the distance between.",
)
CAUTIONS = (
    *ANSWER_CAUTIONS,
    "Walls are opened and changed. What is recorded here may have been moved since; look for a later note.",
    "Gas, sprinkler, radiant tubing, tendons and shear panels: stop and ask a specialist.",
    "Drawings are to scale only when printed at 100 %: check the ruler.",
)
MEASURED = (
    "Places were measured in photos and video frames. Printed marker sheets fixed to the studs, whose places were "
    "taped, gave the scale; every camera position, the lens, the sheets and the wall were solved together, with "
    "their errors. A thing marked in two or more pictures is placed by intersection, with its depth; marked in one "
    "picture only it is placed at the usual depth of its kind, and the list says so.",
    "Between two places where a cable or pipe was marked it is drawn straight or along the framing; it may stray "
    "there, and a dashed course is one of several possible ones. Studs drawn dashed are expected from the layout "
    "and were not measured.",
    "The original pictures are kept unaltered in the record, each under its own SHA-256 digest.",
)
OPENING = (
    "The package this binder came from holds the original pictures and video, a viewer that opens in any browser "
    "without a network (viewer/index.html), drawings, tables, and the database. Its README.txt says what is what. "
    "Keep three copies in two kinds of places, one of them off the premises, and copy them to new media in time.",
    "The fingerprint on the cover belongs to the record as it was printed; a record whose fingerprint differs has "
    "been changed since.",
)
DIGESTS = (
    "The files as they were taken, each with the time that it says it was taken at and its SHA-256 digest. A file "
    "whose digest differs (sha256sum FILE) is not the one that was taken in. The time is the camera's own."
)
GLOSSARY = (
    ("Bay", "the space between two neighbouring studs; numbered from the left end of the face, 1 first"),
    ("Blocking", "wood set between studs to fix things to"),
    ("Box", "a device box or junction box; its size is that of its front"),
    ("Circuit", "everything fed by one breaker; its number is the breaker's position in the panel"),
    ("Coil", "a length of cable left for later use, also called a service loop"),
    ("Conduit", "a tube that cable is pulled through; an end of one may be empty"),
    ("Covering", "what closes the face: board, plaster, tile; its thickness is part of every depth from the finished "
                 "face"),
    ("Datum", "the end and the floor that everything is measured from: the face's left end, the floor of the day"),
    ("Depth", "distance into the wall from the front of the studs or from the finished face; a list says which"),
    ("Face", "one side of a wall as seen from one room; a partition has two"),
    ("Height", "distance up from the datum floor"),
    ("Home run", "the cable from the panel to the first box of a circuit"),
    ("Landmark", "something that is still visible when the wall is covered: a corner, the edge of an opening, a box"),
    ("Nail plate", "a steel plate on the edge of a stud that keeps nails and screws from a cable or pipe"),
    ("Not recorded", "no placed picture shows it; what is there is unknown"),
    ("Nothing recorded here", "pictures show the place and nothing was marked in it; that does not prove it empty"),
    ("Offset", "distance along the face to the right from its left end"),
    ("Placed picture", "a picture whose camera position was worked out, so that one can measure in it"),
    ("Plate", "the level wood at the bottom (sole plate) and top of a stud wall"),
    ("Sighting", "a spot of a thing that somebody marked in a picture"),
    ("Space", "an empty position in a panel; a spare is a breaker that is fitted and feeds nothing"),
    ("Story pole", "all marks of a face on one stick, measured from one end"),
    ("Stud", "an upright of the wall's frame"),
    ("Stub", "the capped end of a pipe or conduit"),
    ("Usual depth", "a depth that was not measured but taken from what is common for such a thing"),
)  # fmt: skip
