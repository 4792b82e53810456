"""How the page looks: a drawing on paper with numbered parts, dark in a dark room, black on white in print."""

from __future__ import annotations

STYLE = """
:root{color-scheme:light dark;--paper:#f3f1ea;--sheet:#fdfcf8;--ink:#17242d;--soft:#53626b;--rule:#d5d1c4;
--body:#e4e0d4}
@media (prefers-color-scheme:dark){:root{--paper:#0d151b;--sheet:#141f27;--ink:#e6e9e4;--soft:#9fb0b8;--rule:#2d3c46;
--body:#26343d}}
*{box-sizing:border-box}
body{margin:0;background:var(--paper);color:var(--ink);font:16px/1.5 system-ui,sans-serif;
-webkit-text-size-adjust:100%}
main{max-width:68rem;margin:2rem auto;padding:0 3rem 3rem;background:var(--sheet);border:1px solid var(--rule)}
header{padding:1.8rem 0 1rem;border-bottom:3px double var(--rule)}
.kind{margin:0;color:var(--soft)}
h1{margin:.1rem 0 0;font:600 2rem/1.2 Georgia,'Times New Roman',serif;overflow-wrap:anywhere}
h2{margin:2rem 0 .1rem;font:600 1.3rem/1.3 Georgia,'Times New Roman',serif;break-after:avoid}
h3{margin:0;font-size:1rem}
p{margin:.1rem 0;max-width:46rem}
.note{color:var(--soft);margin-bottom:.7rem}
.views{display:flex;flex-wrap:wrap;gap:0 1rem;justify-content:center;align-items:flex-end;margin-top:1rem}
figure{margin:0;flex:var(--wide) 1 0;min-width:min(100%,calc(var(--wide)*.85px));max-width:calc(var(--wide)*1.15px);
break-inside:avoid}
figcaption{text-align:center;color:var(--soft);font-size:.9rem}
svg{display:block;width:100%;height:auto}
.body{fill:var(--body)}.limb{stroke:var(--body);stroke-linecap:round;fill:none}
.wire{fill:none;stroke:var(--own);stroke-width:1.8;stroke-linejoin:round;stroke-linecap:round}
.leader{stroke:var(--soft);stroke-width:1;fill:none}.spot{fill:var(--soft)}
.number circle{fill:var(--sheet);stroke:var(--own);stroke-width:2.5}
.number text{font:600 14px system-ui,sans-serif;fill:var(--ink);text-anchor:middle}
.legend{display:flex;flex-wrap:wrap;gap:.2rem 1.6rem;justify-content:center;list-style:none;margin:.8rem 0 0;padding:0}
.legend li::before{content:"";display:inline-block;width:1.1em;height:.32em;margin-right:.5em;vertical-align:.22em;
background:var(--own);border-radius:2px}
ol{list-style:none;margin:0;padding:0;display:grid;grid-template-columns:1fr 1fr;gap:.9rem 2.4rem}
ol li{display:grid;grid-template-columns:2rem 1fr;gap:.8rem;break-inside:avoid}
.badge{width:2rem;height:2rem;border:2.5px solid var(--own);border-radius:50%;text-align:center;
line-height:calc(2rem - 5px);
font-weight:600;font-variant-numeric:tabular-nums}
.names{margin-top:.15rem;display:flex;flex-wrap:wrap;gap:.1rem 1.2rem;color:var(--soft);font-size:.92rem}
.names i{font-style:normal}
code{font:.95em ui-monospace,'DejaVu Sans Mono',Menlo,Consolas,monospace;overflow-wrap:anywhere;color:var(--ink);
min-width:0}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.3rem 1.4rem;margin:0}dt{font-weight:600}dd{margin:0}
table{border-collapse:collapse;width:100%}
th,td{padding:.4rem .8rem .4rem 0;text-align:left;vertical-align:top;border-bottom:1px solid var(--rule)}
thead th{font-weight:600;color:var(--soft);font-size:.88rem}tr{break-inside:avoid}
th small{display:block;font-weight:400;color:var(--soft);overflow-wrap:anywhere}
tbody th{width:34%;font-weight:600}.range{white-space:nowrap;font-variant-numeric:tabular-nums}
@media (max-width:44rem){main{margin:0;padding:0 1rem 2rem;border:0}ol{grid-template-columns:1fr}h1{font-size:1.5rem}
.number text{font-size:17px}
table,tbody,tr,td,tbody th{display:block;width:auto;border:0;padding:0}thead{display:none}
tr{border-bottom:1px solid var(--rule);padding:.5rem 0}.range{display:inline}
.range+.range::before{content:", default "}}
@media print{:root{--paper:#fff;--sheet:#fff;--ink:#000;--soft:#444;--rule:#bbb;--body:#e8e8e8}
html{font-size:11.5px}body{font-size:1rem}.views{flex-wrap:nowrap}figure{min-width:0}
main{border:0;margin:0;padding:0;max-width:none}h2{margin-top:1.2rem}ol{gap:.5rem 1.6rem}
*{print-color-adjust:exact;-webkit-print-color-adjust:exact}}
"""
