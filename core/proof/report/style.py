"""How the page looks: a test certificate on paper by day, the lamp room by night. System fonts, nothing fetched."""

from __future__ import annotations

# Colours are ink on paper and three lamps: sea green for what holds, signal red for what fails, brass for out of reach.
STYLE = """
:root{color-scheme:light dark;--paper:#f3f1ea;--sheet:#fdfcf8;--ink:#17242d;--soft:#53626b;--rule:#d5d1c4;
--good:#0d6357;--good-wash:#dfeee8;--bad:#a82314;--bad-wash:#f9e1db;--far:#7a5300;--far-wash:#f6ebcd;--curve:#274a63}
@media (prefers-color-scheme:dark){:root{--paper:#0d151b;--sheet:#141f27;--ink:#e6e9e4;--soft:#9fb0b8;--rule:#2d3c46;
--good:#6fd0b8;--good-wash:#12352f;--bad:#ff9a85;--bad-wash:#46201b;--far:#e9c169;--far-wash:#3a2f14;--curve:#9cc4de}}
*{box-sizing:border-box}
body{margin:0;background:var(--paper);color:var(--ink);font:16px/1.5 system-ui,sans-serif;
-webkit-text-size-adjust:100%}
main{max-width:64rem;margin:2rem auto;padding:0 3rem 3rem;background:var(--sheet);border:1px solid var(--rule);
outline:1px solid var(--rule);outline-offset:5px}
header{display:grid;grid-template-columns:1fr auto;gap:0 2rem;align-items:center;padding:2.2rem 0 1.6rem;
border-bottom:3px double var(--rule)}
header svg{width:76px;height:104px;grid-row:span 3;grid-column:2}
.tower{fill:none;stroke:var(--soft);stroke-width:1.5}.band{fill:var(--soft)}.beam{fill:var(--lamp);opacity:.7}
.kind{margin:0;color:var(--soft);font-size:.95rem}
h1{margin:.15rem 0 .5rem;font:600 1.9rem/1.22 Georgia,'Times New Roman',serif;text-wrap:balance;overflow-wrap:anywhere}
h2{margin:2.6rem 0 .6rem;font:600 1.3rem/1.3 Georgia,'Times New Roman',serif}
h3{margin:1.6rem 0 .3rem;font-size:1rem}
p{margin:.4rem 0;max-width:46rem;overflow-wrap:anywhere}
code{font:.86em ui-monospace,'DejaVu Sans Mono',Menlo,Consolas,monospace;overflow-wrap:anywhere}
.tally{display:flex;flex-wrap:wrap;gap:.3rem 1.4rem;margin:0;padding:0;list-style:none;
font-variant-numeric:tabular-nums}
.pass{color:var(--good)}.fail{color:var(--bad)}.out_of_reach{color:var(--far)}.not_applicable{color:var(--soft)}
table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}
th,td{padding:.35rem .6rem;text-align:left;vertical-align:top;border-bottom:1px solid var(--rule)}
thead th{font-weight:600;color:var(--soft);font-size:.88rem;vertical-align:bottom}
caption{text-align:left;color:var(--soft);font-size:.92rem;padding-bottom:.6rem}
.matrix{table-layout:fixed}.matrix tbody th{font-weight:400}.matrix th:first-child{width:31%;padding-left:0}
.matrix a{color:inherit;font-weight:600;text-decoration-color:var(--rule);text-underline-offset:3px}
.matrix th small{display:block;color:var(--soft);font-size:.82rem;line-height:1.35}
.matrix td{border-left:3px solid var(--sheet);line-height:1.35}
.matrix td.pass{background:var(--good-wash)}.matrix td.out_of_reach{background:var(--far-wash)}
.matrix td.fail{background:repeating-linear-gradient(135deg,var(--bad-wash) 0 9px,transparent 9px 12px),var(--sheet);
box-shadow:inset 4px 0 var(--bad)}
.matrix td b{display:block;white-space:nowrap}.matrix td span{display:block;font-size:.85rem}
.matrix td .wide{display:inline;font-size:1em}
.matrix .more{color:var(--far)}
ol.findings{margin:.6rem 0;padding-left:1.4rem}.findings li{margin:.5rem 0;overflow-wrap:anywhere}
.findings em{display:block;font-style:normal;color:var(--soft)}
section>.promise{color:var(--soft);margin-top:-.4rem}
.badge{font:600 .9rem/1.3 system-ui,sans-serif;padding:.1rem .6rem;margin-left:.5rem;border:1.5px solid;
border-radius:3px;white-space:nowrap;vertical-align:.12em}
.advice{border-left:4px solid var(--bad);padding:.1rem 0 .1rem .9rem;margin:.8rem 0}
.advice.out_of_reach{border-color:var(--far);color:inherit}
table.matrix{margin-top:1.2rem}figure{margin:1rem 0 1.4rem;break-inside:avoid}
figcaption{font-size:.92rem;margin-bottom:.3rem;overflow-wrap:anywhere}
figcaption code{color:var(--soft)}
p.key{display:flex;flex-wrap:wrap;gap:0 1.2rem;margin:0;font-size:.85rem;color:var(--soft)}
.limit-key{color:var(--bad)}.limit-key:before{content:"";display:inline-block;width:1.6em;margin-right:.4em;
border-top:2px dashed;vertical-align:.25em}
.mark-key:before{content:"";display:inline-block;width:.62em;height:.62em;margin-right:.35em;
border:2px solid var(--ink);border-radius:50%}
.pair{display:grid;grid-template-columns:1fr 1fr;gap:1.6rem}
svg{display:block;width:100%;height:auto}
svg text{font:13px system-ui,sans-serif;fill:var(--ink)}
svg .tick,svg .part,svg .caption{fill:var(--soft)}svg .part{font-size:12px}
.grid{stroke:var(--rule);fill:none}
.limit{stroke:var(--bad);stroke-width:1.5;stroke-dasharray:7 4;fill:none}
svg .mark-text,svg .part{paint-order:stroke;stroke:var(--sheet);stroke-width:4px;stroke-linejoin:round}
.curve{stroke:var(--curve);stroke-width:2;fill:none;stroke-linejoin:round;stroke-linecap:round}
.hole{stroke:var(--bad);stroke-width:1.5;opacity:.45;fill:none}
.axis text{text-anchor:middle}.axis.y text{text-anchor:end}.mark{fill:var(--sheet);stroke:var(--ink);stroke-width:2.5}
svg .mark-text{font-weight:600}
.bone{fill:var(--rule);stroke:var(--soft)}.joint{fill:var(--sheet);stroke:var(--ink);stroke-width:2}
.lens{fill:var(--sheet);stroke:var(--soft);stroke-width:1.5}.leader{stroke:var(--soft);stroke-dasharray:3 3}
.spot{fill:none;stroke:var(--bad);stroke-width:1.5}.slide{stroke:var(--bad);stroke-width:2}
.wanted{fill:none;stroke:var(--good);stroke-width:2.5}.found{fill:var(--bad)}.bar{stroke:var(--soft);fill:none}
details{margin:.6rem 0;border-top:1px solid var(--rule);padding-top:.5rem}
summary{cursor:pointer;color:var(--soft)}summary:focus-visible,a:focus-visible{outline:2px solid var(--curve)}
.scroll{overflow-x:auto;max-height:32rem;overflow-y:auto}.scroll table{font-size:.86rem}
.scroll td{white-space:nowrap}.scroll td.note{white-space:normal;min-width:16rem}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.2rem 1.4rem}dt{color:var(--soft)}
dd{margin:0;overflow-wrap:anywhere}
.over{position:relative;max-width:36rem;border:1px solid var(--rule);
background:linear-gradient(var(--paper),var(--sheet))}
.over img{display:block;width:100%;height:auto}.over svg{position:absolute;inset:0;height:100%}
.over .leader{stroke:var(--ink)}.ring-key,.dot-key{margin-right:1rem;color:var(--soft)}
.ring-key:before,.dot-key:before{content:"";display:inline-block;width:.7em;height:.7em;margin-right:.35em;
border-radius:50%;border:2.5px solid var(--good)}.dot-key:before{background:var(--bad);border-color:var(--bad)}
.shots{display:grid;grid-template-columns:repeat(auto-fill,minmax(18rem,1fr));gap:1rem}.shots img{width:100%}
@media (max-width:44rem){main{margin:0;padding:0 1rem 2rem;border:0;outline:0}header{padding-top:1.2rem}
header svg{width:44px;height:60px;grid-row:1;align-self:start}h1{font-size:1.4rem;grid-column:1/-1}
.tally{grid-column:1/-1}.matrix th small{display:none}.matrix th:first-child{width:27%}
.matrix th,.matrix td{padding:.3rem .15rem .3rem .3rem;font-size:.8rem}.matrix th:first-child{padding-left:0}
.matrix td span{font-size:.75rem}.matrix td .wide{display:none}.matrix td{border-left-width:2px}
.pair{grid-template-columns:1fr}svg text{font-size:16px}svg .part{font-size:14px}
dl{grid-template-columns:1fr}dd{margin-bottom:.4rem}}
@media print{:root{--paper:#fff;--sheet:#fff;--ink:#000;--soft:#444;--rule:#bbb;--good:#0d6357;--good-wash:#e7f2ee;
--bad:#a82314;--bad-wash:#f9e1db;--far:#7a5300;--far-wash:#f6ebcd;--curve:#274a63}
body{font-size:10.5pt}main{border:0;outline:0;margin:0;padding:0;max-width:none}
.scroll{max-height:none;overflow:visible}.scroll table{font-size:7pt;table-layout:auto}
.scroll td,.scroll td.note{white-space:normal;min-width:0;overflow-wrap:anywhere;padding:.1rem .2rem}
.shots,.pair{break-inside:avoid}.over{max-width:24rem}tr{break-inside:avoid}h2,h3{break-after:avoid}
*{print-color-adjust:exact;-webkit-print-color-adjust:exact}}
"""

# A tower with its lamp lit; the beam has the colour of the verdict.
EMBLEM = (
    '<svg viewBox="0 0 76 104" aria-hidden="true"><path class="beam" d="M29 23L1 15v16zM47 23l28-8v16z"/>'
    '<path class="band" d="M30.6 46h14.8l1.2 12H29.4zM28.2 70h19.6l1.2 12H27z"/>'
    '<path class="tower" d="M31.5 34h13L49 94H27zM31 15h14v15H31zM29.5 30h17v4h-17zM30 15l8-9 8 9zM16 94h44"/></svg>'
)
