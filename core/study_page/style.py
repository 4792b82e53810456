"""What the study's page adds to the report's style: the timeline, whose words keep their size on a narrow screen."""

from __future__ import annotations

STYLE = """
.rows{margin:.4rem 0 0}.row{display:grid;grid-template-columns:8.5rem 1fr;align-items:center;gap:0 .8rem}
.row b{font-weight:400;font-size:.92rem;color:var(--soft);line-height:1.25}
.track{position:relative;height:1.15rem;background:var(--paper);border-bottom:1px solid var(--sheet);overflow:hidden}
.track i{position:absolute;top:.12rem;bottom:.12rem;min-width:2px;border-radius:2px;background:var(--curve)}
.row.swinging i{background:var(--rule)}.row.rolling i{background:var(--good)}
.row.held i{background:var(--far)}.row.elbow-planted i{background:var(--ink)}
.row i.idle{background:none;box-shadow:inset 0 0 0 1.5px var(--soft)}
.scale{display:flex;justify-content:space-between;margin-left:9.3rem;font-size:.82rem;color:var(--soft);
font-variant-numeric:tabular-nums}
.needs{list-style:none;margin:.6rem 0;padding:0}.needs li{margin:.7rem 0;padding-left:.9rem;
border-left:4px solid var(--rule);max-width:46rem;overflow-wrap:anywhere}
.needs strong{display:block}.needs .why{display:block;color:var(--soft);font-size:.92rem}
td.beyond{color:var(--bad);font-weight:600}table.plain{max-width:46rem;margin:.4rem 0 1rem}
table.plain td,table.plain th{overflow-wrap:anywhere}
.two{display:grid;grid-template-columns:repeat(auto-fit,minmax(17rem,1fr));gap:0 1.6rem}.two>*{min-width:0}
@media (max-width:44rem){.row{grid-template-columns:5.6rem 1fr;gap:0 .5rem}.row b{font-size:.82rem}
.scale{margin-left:6.1rem}.two{grid-template-columns:1fr}
table.plain th,table.plain td{padding:.3rem .25rem;font-size:.82rem}
table.plain th:first-child,table.plain td:first-child{padding-left:0}}
"""
