"""The style of pages: light, dark, on paper, and as narrow as a phone; it loads nothing."""

STYLE = """
:root { color-scheme: light dark; --paper: #fff; --ink: #1b1b1b; --dim: #595959; --line: #c4c4c4;
  --band: #e6e6e6; --tone: #d3dfee; --tone2: #f1f4f8; --odd: #b3261e; --box: #fff4d6; }
@media (prefers-color-scheme: dark) { :root { --paper: #17181a; --ink: #ececec; --dim: #a9a9a9;
  --line: #4d4f52; --band: #2c2e31; --tone: #2f4258; --tone2: #222a33; --odd: #ff8a80;
  --box: #3a3212; } }
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink); font: 1rem/1.5 system-ui, sans-serif;
  overflow-wrap: anywhere; }
main { max-width: 44rem; margin: 0 auto; padding: 1rem; }
h1 { font-size: 1.6rem; line-height: 1.2; margin: .2rem 0 .5rem; }
.whole { white-space: nowrap; }
h2 { font-size: 1.15rem; margin: 2rem 0 .5rem; border-bottom: 1px solid var(--line); }
h3 { font-size: 1rem; margin: 1.2rem 0 .3rem; }
.dim, figcaption, footer { color: var(--dim); font-size: .875rem; }
.box { background: var(--box); border: 1px solid var(--line); border-left: .4rem solid var(--odd);
  padding: .5rem .8rem; margin: .8rem 0; }
.verdict { border: 2px solid var(--ink); padding: .5rem .8rem; }
.rule { border-bottom: 1px solid var(--ink); height: 2.2rem; }
dl { display: grid; grid-template-columns: minmax(6rem, max-content) 1fr; gap: .15rem .9rem;
  margin: .4rem 0; }
dt { color: var(--dim); } dd { margin: 0; }
@media (max-width: 30rem) { dl { grid-template-columns: 1fr; gap: 0; }
  dd { margin-bottom: .4rem; } }
table { border-collapse: collapse; width: 100%; font-size: .9rem; }
th, td { text-align: right; padding: .2rem .4rem; border-bottom: 1px solid var(--line); }
th:first-child, td:first-child { text-align: left; padding-left: 0; }
table.numbers td:not(:first-child) { white-space: nowrap; }
table.words th, table.words td { text-align: left; vertical-align: top; padding-left: 0; }
table.words th { overflow-wrap: normal; }
table.words td:not(:last-child):not(.long) { white-space: nowrap; }
table.numbers td:first-child { overflow-wrap: normal; }
table.numbers th { overflow-wrap: normal; }
@media (max-width: 30rem) { table.numbers { font-size: .78rem; }
  table.numbers th, table.numbers td { padding: .2rem .15rem; } }
tr.far { font-weight: 700; }
figure { margin: 1rem 0; } svg { display: block; width: 100%; max-width: 36rem; height: auto; }
svg text { fill: var(--ink); font: 12px system-ui, sans-serif; }
svg text.small { fill: var(--dim); font-size: 11px; }
.band { fill: var(--band); } .tone0 { fill: var(--tone); } .tone1 { fill: var(--tone2); }
.tone0, .tone1 { stroke: var(--line); stroke-width: .5; }
.outline { fill: none; stroke: var(--odd); stroke-width: 2; }
.axis { stroke: var(--line); } .usual { stroke: var(--dim); stroke-dasharray: 4 3; }
.edge { stroke: var(--ink); } .good { fill: var(--ink); }
.other { fill: none; stroke: var(--ink); } .odd { fill: var(--odd); stroke: var(--ink); }
.bar { fill: var(--ink); } .open { fill: var(--paper); stroke: var(--ink); }
.cross { stroke: var(--odd); stroke-width: 2.5; }
.path { fill: none; stroke: var(--dim); stroke-width: .7; }
code { font-size: .9em; }
@media print { :root { color-scheme: light; --paper: #fff; --ink: #000; --dim: #444; --line: #999;
  --band: #e6e6e6; --tone: #ccd8e6; --tone2: #f4f4f4; --odd: #a00; --box: #fff; }
  main { max-width: none; padding: 0; } h2, h3 { break-after: avoid; }
  figure, tr, article, .box, .verdict { break-inside: avoid; } }
"""
