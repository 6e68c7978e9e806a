/** The look of the record: ink on paper, in the dark the other way round, and on paper always the first. */
export const recordCss = `
:root{color-scheme:light dark;--ink:#1d1f21;--quiet:#5d646b;--paper:#fdfdfb;--rule:#d4d6d2;--soft:#eef0ec;
--main:#1f5b8f;--second:#a6521a;--good:#1d6b3f;--bad:#a3201d;--doubt:#7a5a00}
@media (prefers-color-scheme:dark){:root{--ink:#e4e5e1;--quiet:#a2a8ad;--paper:#17191b;--rule:#3b3f43;
--soft:#24282b;--main:#7db7e8;--second:#e6a06a;--good:#7fcf9d;--bad:#f08a83;--doubt:#e0be5c}}
*{box-sizing:border-box}
body{margin:0 auto;padding:2rem 1.25rem 4rem;max-width:60rem;color:var(--ink);background:var(--paper);
font:15px/1.5 system-ui,sans-serif;font-variant-numeric:tabular-nums;hyphens:manual}
h1{font-size:1.7rem;line-height:1.2;margin:0 0 .3rem}h2{font-size:1.2rem;margin:2.4rem 0 .6rem}
h3{font-size:1rem;margin:1.4rem 0 .4rem}p{margin:.4rem 0;max-width:44rem}
.quiet,.key,small{color:var(--quiet)}.verdict{font-size:1.05rem}.warn{color:var(--bad);font-weight:600}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.15rem 1.2rem;margin:.8rem 0}
dt{color:var(--quiet)}dd{margin:0;overflow-wrap:anywhere}
.wide{overflow-x:auto}table{border-collapse:collapse;width:100%;font-size:.9rem;margin:.5rem 0}
th{text-align:left;font-weight:600;color:var(--quiet);
border-bottom:1.5px solid var(--ink);vertical-align:bottom}
th,td{padding:.3rem .8rem .3rem 0}td{border-bottom:1px solid var(--rule);vertical-align:top}
.num{text-align:right;white-space:nowrap}.tight{white-space:nowrap}
.hash{font-family:ui-monospace,monospace;font-size:.8rem;overflow-wrap:anywhere}
.accept{color:var(--good);font-weight:600}.reject{color:var(--bad);font-weight:600}
.marginal,.cannot{color:var(--doubt);font-weight:600}
figure{margin:1rem 0}figcaption{font-weight:600;font-size:.9rem}svg{display:block;width:100%;height:auto}
svg text{font:11px system-ui,sans-serif;fill:var(--quiet)}
.grid{stroke:var(--rule);stroke-width:.6}.line{fill:none;stroke-width:1.5;stroke-linejoin:round}
.line.main{stroke:var(--main)}.line.second{stroke:var(--second);stroke-dasharray:6 3}
.line.third{stroke:var(--ink);stroke-dasharray:2 2}
.line.fourth{stroke:var(--quiet);stroke-dasharray:9 3 2 3}
.centre{stroke:var(--quiet);stroke-width:1}.bar{fill:var(--main)}ul{margin:.4rem 0;padding-left:1.2rem}
.band{stroke:none;opacity:.22}.band.main{fill:var(--main)}.band.second{fill:var(--second)}
.band.third{fill:var(--ink)}.band.fourth{fill:var(--quiet)}
circle{fill:var(--main)}circle.second{fill:var(--second)}circle.third{fill:var(--ink)}
circle.fourth{fill:var(--quiet)}.limit{stroke:var(--bad);stroke-width:1.3;stroke-dasharray:2 3}
svg .limit-word{fill:var(--bad)}.mark{stroke:var(--bad);stroke-width:1}
.stage{stroke:var(--paper);stroke-width:.6}.stage.even{fill:var(--soft)}.stage.odd{fill:var(--rule)}
svg .stage-word{font-size:10px;fill:var(--ink)}
.key{font-size:.8rem;margin:.1rem 0}.swatch{display:inline-block;width:1.6em;margin-right:.4em;
vertical-align:.25em;border-top:2px solid var(--main)}.swatch.second{border-top:2px dashed var(--second)}
.dot{display:inline-block;width:.5em;height:.5em;border-radius:50%;background:var(--main);margin-right:.4em}
.key svg{display:inline-block;width:2.4em;height:.6em;margin-right:.4em}.key .name{margin-right:1em}
thead th.num{white-space:normal}.claims th:first-child{min-width:12rem}.claims td:nth-child(6){min-width:9rem}
caption{text-align:left;font-weight:600;padding:.4rem 0 .1rem}th.num,td.num{padding-right:1.2rem}
.whole{break-inside:avoid}.notes{columns:2;column-gap:3rem;font-size:.85rem}
tbody th{font-weight:inherit;color:inherit;
border-bottom:1px solid var(--rule);vertical-align:top}td small,th small{display:block}
nav ul{columns:2;list-style:none;padding:0}a{color:inherit}
.alarm{border:2px solid var(--bad);padding:.2rem 1rem .6rem;margin:1rem 0}
.alarm h2{margin-top:.6rem}
.part{break-before:auto}thead{display:table-header-group}figure,tr{break-inside:avoid}h2,h3{break-after:avoid}
@media print{:root{color-scheme:light;--ink:#000;--quiet:#444;--paper:#fff;--rule:#bbb;--soft:#eee;
--main:#123f6b;--second:#8a3d0c;--good:#0d4d2a;--bad:#8a1512;--doubt:#5c4400}
body{font-size:10pt;max-width:none;padding:0}@page{margin:16mm 14mm}.wide{overflow:visible}
nav{display:none}caption,thead{break-after:avoid}tbody tr:first-child{break-before:avoid}
table{font-size:8.5pt}.claims th:first-child{min-width:44mm}
.claims td:nth-child(6){min-width:38mm}th,td{padding:.15rem .5rem .15rem 0}
*{print-color-adjust:exact}}
`
