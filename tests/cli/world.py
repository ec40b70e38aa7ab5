"""A tiny plant for the command line: one loop with its accumulator, a pump, a spare, one supply."""

PLANT = """
title = "Tiny plant"

[[part]]
id = "pump"
title = "Pump"
[[part.port]]
name = "F1"
kind = "fluid-disconnect"
size = "1/2 in"
[[part.port]]
name = "F2"
kind = "fluid-disconnect"
size = "1/4 in"
[[part.port]]
name = "J1"
kind = "electrical-connector"
[[part.port]]
name = "B1"
kind = "bolt"
torque = ["20 N*m", "30 N*m"]
[[part.node]]
name = "VOL"
medium = "fluid"
litres = "2 l"
loop = "A"
[[part.node]]
name = "MOTOR"
medium = "power"
load = true
[[part.link]]
a = "F1"
b = "VOL"
[[part.link]]
a = "MOTOR"
b = "J1"

[[part]]
id = "panel"
title = "Panel with the accumulator and the supply"
[[part.port]]
name = "P1"
kind = "fluid-disconnect"
size = "1/2 in"
[[part.port]]
name = "P2"
kind = "fluid-disconnect"
size = "3/4 in"
[[part.port]]
name = "V1"
kind = "valve"
[[part.port]]
name = "J1"
kind = "electrical-connector"
[[part.port]]
name = "K1"
kind = "switch"
[[part.port]]
name = "B1"
kind = "bolt"
[[part.node]]
name = "ACC"
medium = "fluid"
expansion = true
loop = "A"
[[part.node]]
name = "BUS"
medium = "power"
source = true
[[part.link]]
a = "P1"
b = "ACC"
gate = "V1"
[[part.link]]
a = "J1"
b = "BUS"
gate = "K1"

[[unit]]
id = "PUMP-1"
part = "pump"
home = "STORE"
[[unit]]
id = "PUMP-2"
part = "pump"
home = "STORE"
[[place]]
id = "HALL"
part = "panel"
[[place]]
id = "STORE"
holds = true

[initial]
at = 2031-05-01T08:00:00Z
by = "survey"
joined = [["PUMP-1:F1", "HALL:P1"], ["PUMP-1:J1", "HALL:J1"], ["PUMP-1:B1", "HALL:B1"]]
status = { "HALL:V1" = "open", "HALL:K1" = "on" }
place = { "PUMP-1" = "HALL", "PUMP-2" = "STORE" }
"""

RULES = """
title = "Tiny rules"

[[rule]]
id = "expansion"
title = "All liquid of the loop reaches the accumulator"
hazard = "it bursts"
severity = 1
source = "common practice"
mode = "always"
scope = { liquid = true, id = "PUMP-1:*" }
condition = { path = "fluid", from = "it", to = { expansion = true } }

[[rule]]
id = "dead-before-touch"
title = "No live connector is touched"
hazard = "electric shock"
severity = 1
source = "29 CFR 1910.333(b)"
mode = "at"
at = { action = ["mate", "demate"], kind = "electrical-connector" }
condition = { no_path = "power", from = "it", to = { source = true } }

[[rule]]
id = "powered-again"
title = "The pump is powered again within an hour"
hazard = "it freezes"
severity = 3
source = "common practice"
mode = "within"
within = "1 h"
trigger = { action = "de-energise", id = "HALL:K1" }
condition = { path = "power", from = "PUMP-1:MOTOR", to = { source = true } }
"""

GOOD = """
title = "Take the power off"
[[outing]]
id = "W1"
start = 2031-05-02T08:00:00Z
budget = "1 h"
[[outing.track]]
name = "ina"
steps = [
    { id = "1", do = "de-energise HALL:K1", takes = "1 min" },
    { id = "2", do = "demate PUMP-1:J1", takes = "1 min" },
    { id = "3", do = "mate PUMP-1:J1 HALL:J1", takes = "1 min" },
    { id = "4", do = "energise HALL:K1", takes = "1 min" },
]
"""

BAD = """
title = "Shut the valve"
[[outing]]
id = "W1"
start = 2031-05-02T08:00:00Z
[[outing.track]]
name = "ina"
steps = [{ id = "1", do = "shut HALL:V1", takes = "1 min" }]
"""
