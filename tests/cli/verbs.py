"""A command line for every action that is a command, on the shop (shop.toml), and an order in which all can be."""

VERB_LINES: dict[str, tuple[str, ...]] = {
    "mate": ("HOSE-1:A", "WALL:F3"),
    "demate": ("HOSE-1:A",),
    "open": ("WALL:V",),
    "shut": ("WALL:V",),
    "cap": ("WALL:F2",),
    "uncap": ("WALL:F2",),
    "engage": ("BOX-1:B2", "WALL:B2"),
    "torque": ("BOX-1:B2", "torque=25 N*m"),
    "release": ("BOX-1:B2",),
    "grip": ("BOX-2:H", "ANN:HAND"),
    "lift": ("BOX-2",),
    "let-go": ("BOX-2:H",),
    "energise": ("WALL:K",),
    "de-energise": ("WALL:K",),
    "cover": ("BOX-1:C",),
    "uncover": ("BOX-1:C",),
    "place": ("BOX-2", "at", "SHELF"),
    "lock": ("BOX-1:C", "--by", "ANN"),
    "transfer": ("BOX-1:C", "from", "ANN", "to", "BAG"),
    "unlock": ("BOX-1:C", "--by", "BAG"),
    "tag": ("BOX-1:C", "--by", "ANN"),
    "untag": ("BOX-1:C", "--by", "ANN"),
    "defect": ("torque", "BOX-1:B2", "jammed", "torque=12 N*m"),
    "rectify": ("BOX-1:B2",),
    "cut": ("WALL:V", "from", "ANN", "--by", "BAG", "--reason", "nobody there"),
    "as-found": ("WALL:F2", "capped"),
    "measure": ("BOX-1", "mass=9 kg"),
    "inspect": ("BOX-1",),
    "remark": ("BOX-1", "hums"),
    "begin": ("W1",),
    "end": ("W1",),
}
BEFORE_ALL = ("tag", "WALL:V", "--by", "ANN")
"""What `cut` takes away."""

_FIRST = ("shut", "open", "de-energise", "energise", "uncover", "cover")
_LOCKS = ("lock", "transfer", "unlock", "tag", "untag", "defect", "rectify")
VERB_ORDER = (*_FIRST, *_LOCKS, *(verb for verb in VERB_LINES if verb not in (*_FIRST, *_LOCKS)))
