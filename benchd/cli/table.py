"""Every command, in the order of a working day: name, module, what it does, an example."""

from __future__ import annotations

from benchd.cli.command import Row

COMMANDS: tuple[Row, ...] = (
    Row("demo", "demo", "run a whole job on the simulated bench", "benchd demo"),
    Row("serve", "serving", "run the daemon of one bench, in the foreground",
        "benchd serve bench.yaml"),
    Row("simulate", "serving", "run the simulated bench alone, on a pty, in real time",
        "benchd simulate bench.yaml --link ./bench-port --seed 7 --fault void@5"),
    Row("ports", "porting", "list the serial ports by their stable names", "benchd ports"),
    Row("status", "watching", "show what the bench is at",
        "benchd status --follow"),
    Row("clear", "clearing", "let go of an interlock whose cause is gone",
        "benchd clear IL-09"),
    Row("here", "feeding", "say where the feed stands, after power-up or a board reset",
        "benchd here 0mm"),
    Row("drive", "feeding", "give power to the drive, or take it away", "benchd drive off"),
    Row("jog", "feeding", "make one bounded feed move, forward or reverse",
        "benchd jog +2.5mm --speed 2mm/s"),
    Row("relieve", "feeding", "let the barrel's pressure off", "benchd relieve"),
    Row("eye", "dough", "show the eye's level, or teach it its two levels",
        "benchd eye --empty"),
    Row("tube", "dough", "put a tube of dough in, or take it out",
        "benchd tube in T7 --lot A12 --net 450g --temperature 6C"),
    Row("cut", "cutting", "make one dry stroke: arm, then fire within 3 s", "benchd cut"),
    Row("portion", "portions", "make one portion", "benchd portion masa.yaml"),
    Row("series", "portions", "make portions on a timer",
        "benchd series masa.yaml --count 20 --every 8s"),
    Row("pause", "stopping", "pause the series at the next safe point", "benchd pause"),
    Row("resume", "portions", "go on with a paused series", "benchd resume"),
    Row("finish", "stopping", "end the series after this portion", "benchd finish"),
    Row("stop", "stopping", "stop now", "benchd stop"),
    Row("weigh", "keeping", "record a weight: g, oz, decimal comma or point",
        "benchd weigh 31.8 --portion 12 --look clean"),
    Row("note", "keeping", "record a note", 'benchd note "new needle setting"'),
    Row("set", "keeping", "record values that were set by hand",
        "benchd set air=1.2bar needle=2turns nozzle=24mm sleeve=S3"),
    Row("journal", "journals", "list, show or check the journals on this machine",
        "benchd journal show --portion 12"),
    Row("replay", "replaying", "show a portion's time line, or verify stored decisions",
        "benchd replay JOURNAL --verify"),
    Row("guide", "guiding", "read the pages for the person at the bench",
        "benchd guide IL-09"),
)  # fmt: skip
"""The single table of commands."""
