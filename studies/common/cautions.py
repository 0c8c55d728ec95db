"""What every page and answer warns of: which sentences stand where."""

RIM = (  # pages that compare builds of the rim
    "The figures say nothing of strength. String tension loads every joint of an instrument for decades: judge strength "
    "and safety by experience and trials, not by this page.",
    "Bending irons, saws, wood dust and glues harm: guard, mask and air the room as their makers say, and follow local "
    "rules; where the law asks for licensed practice, it comes first.",
)
AT_REST = (  # the box under its strings and in other air
    "No verdict on strength is given or meant: whether a joint, a brace or a plate holds, and for how long, is judged by "
    "experience and trials.",
    "Strings pull with the weight of a person for decades. Slacken them before you work on an instrument, and keep face "
    "and hands away from a bridge, a neck or a string that might let go.",
    "Wood under stress, clamped, bent or drying, can split without warning.",
    "Local codes and rules for workshops come first, and licensed practice where the law asks for it.",
)
OPEN_RIM = (
    "The figures say nothing of strength: a rim under load can crack along a kerf or across a bend and open a glue line, "
    "above all while the glue is fresh. Load it slowly, stand clear of the weight, stop at the first creak, and judge by "
    "trials on offcuts. Guards, dust and glue as their makers say, local rules first.",
    "Compare rims bent from the same boards: sides of one wood name differ by 20 % and more in stiffness, which is more than "
    "many a build does.",
)
SHEET = (
    "Weights and measures only: nothing here judges strength. String tension loads every joint; try before you trust.",
)
