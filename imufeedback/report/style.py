"""Looks of the report: screen, phone, A4. Colours: those of Okabe & Ito's colour-blind-safe set, darkened for text."""

STYLE = """
:root { --ink: #1a1a1a; --soft: #4d4d4d; --line: #d8d5cd; --good: #0072b2; --bad: #b34700; --quiet: #a8437a; }
* { box-sizing: border-box; }
body { margin: 0; background: #f3f2ee; color: var(--ink); font: 16px/1.5 system-ui, "Segoe UI", Arial, sans-serif; }
main { max-width: 780px; margin: 0 auto; padding: 20px 28px 40px; background: #fff; }
header { border-bottom: 3px solid var(--good); margin-bottom: 8px; }
header p { margin: 0 0 10px; color: var(--soft); }
h1 { margin: 8px 0 0; font-size: 30px; line-height: 1.2; overflow-wrap: anywhere; }
h2 { margin: 26px 0 6px; font-size: 20px; }
h3 { margin: 16px 0 2px; font-size: 16px; }
p, ul { margin: 6px 0; } ul { padding-left: 22px; } li { margin: 3px 0; overflow-wrap: anywhere; }
.big { font-size: 20px; }
figure { margin: 10px 0; } figcaption { font-weight: 600; }
svg { display: block; width: 100%; height: auto; font: 13px system-ui, "Segoe UI", Helvetica, Arial, sans-serif; }
svg text { fill: var(--soft); } .grid { stroke: #e9e7e1; } .zero { stroke: #8a8880; }
.line { fill: none; stroke-width: 2; } .band { stroke: none; opacity: .13; }
.line.good, .line.trail { stroke: var(--good); } .band.good, .band.trail, .dot.good, .dot.trail { fill: var(--good); }
.line.bad { stroke: var(--bad); stroke-dasharray: 7 4; } .band.bad { fill: var(--bad); }
.line.quiet { stroke: var(--quiet); stroke-dasharray: 2 3; } .band.quiet, .dot.quiet { fill: var(--quiet); }
.key { color: var(--soft); font-size: 14px; } .key .good { color: var(--good); } .key .quiet { color: var(--quiet); }
.bad, .key .bad { color: var(--bad); }
.four { display: grid; grid-template-columns: repeat(4, 1fr); gap: 6px; }
.four figure { margin: 0; text-align: center; }
svg.body { font-size: 60px; max-height: 230px; } svg.body text { fill: var(--ink); }
.curve svg { max-height: 300px; }
.small { font-size: 14px; } .small h2 { font-size: 16px; margin-top: 14px; }
details { margin: 14px 0; border-top: 1px solid var(--line); }
summary { font-weight: 600; padding: 8px 0; cursor: pointer; }
table { border-collapse: collapse; width: 100%; font-size: 13px; font-variant-numeric: tabular-nums; }
th { text-align: right; vertical-align: bottom; font-weight: 600; } td { text-align: right; }
th:last-child, td:last-child { min-width: 150px; }
.void td { color: var(--soft); }
th, td { padding: 4px 6px; border-bottom: 1px solid var(--line); } th:last-child, td:last-child { text-align: left; }
thead { display: table-header-group; } tr { break-inside: avoid; }
footer { margin-top: 30px; color: var(--soft); font-size: 13px; }
@media (max-width: 560px) {
  main { padding: 12px 14px 30px; } h1 { font-size: 24px; } svg { font-size: 19px; }
  .four { grid-template-columns: repeat(2, 1fr); }
  .reps thead { display: none; } .reps, .reps tbody, .reps tr, .reps td { display: block; width: auto; }
  .reps tr { border-bottom: 2px solid var(--line); padding: 6px 0; } .reps td, .reps td:last-child { text-align: left; }
  .reps td { border: none; padding: 1px 0; overflow-wrap: anywhere; min-width: 0; }
  .reps td[data-head]::before { content: attr(data-head) ": "; color: var(--soft); }
}
@page { size: A4; margin: 9mm 11mm; }
@media print {
  body { background: #fff; font-size: 9.5pt; line-height: 1.35; } main { max-width: none; padding: 0; }
  h1 { font-size: 17pt; margin: 0; } h2 { font-size: 12pt; margin: 6px 0 2px; }
  p, ul { margin: 2px 0; } li { margin: 1px 0; }
  .big { font-size: 12pt; } .small, .key { font-size: 8.5pt; } .small h2 { font-size: 10pt; margin-top: 5px; }
  .small ul { columns: 2; }
  .four svg.body { max-height: 104px; } .curve svg { max-height: 150px; } figure { margin: 3px 0; }
  details:not([open]) { display: none; } footer { margin-top: 4px; font-size: 8pt; }
  figure, li { break-inside: avoid; } h2, h3 { break-after: avoid; }
  table { font-size: 8.5pt; }
}
"""
