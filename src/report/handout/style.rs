//! How it looks, on a screen and on paper.

/// After the charts' own. On paper the light colours count whatever the device has; sizes of sheets are the printer's.
pub const STYLE: &str = "\
:root{--care:#fbf3dc;--edge:#d55e00}@media(prefers-color-scheme:dark){:root{--care:#2b2412;--edge:#e69f00}}\
*{box-sizing:border-box}body{margin:0;background:var(--paper);color:var(--ink);line-height:1.45}\
main{max-width:50rem;margin:0 auto;padding:1rem}h1{font-size:1.6rem;line-height:1.2;margin:.2rem 0;overflow-wrap:anywhere}\
h2{font-size:1.15rem;margin:1.4rem 0 .4rem}h3{font-size:1rem;margin:1rem 0 .3rem}p{margin:.3rem 0}.faint{color:var(--faint)}\
.care{background:var(--care);border-left:4px solid var(--edge);padding:.5rem .9rem;margin:.8rem 0}\
.care p:first-child,.care h2{margin-top:0}ul{margin:.3rem 0;padding-left:1.2rem}li{margin:.25rem 0}\
.words{white-space:pre-line;overflow-wrap:anywhere;border-left:3px solid var(--grid);padding-left:.8rem}\
.wide{overflow-x:auto}table{border-collapse:collapse;font-variant-numeric:tabular-nums;font-size:.88rem;width:100%}\
caption{text-align:left;color:var(--faint);padding:.2rem 0}th,td{padding:.25rem .5rem;text-align:right;border-bottom:1px solid var(--grid);\
vertical-align:top}th:first-child,th.text,td.text{text-align:left;overflow-wrap:anywhere}thead th{border-bottom:2px solid var(--faint);vertical-align:bottom}\
td .half{color:var(--faint)}.answers li{margin:.4rem 0}.answers b{font-weight:650}\
.pictures{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,20rem),1fr));gap:.8rem}.pictures figure{margin:0;min-width:0}\
.pictures svg{width:100%}figcaption{font-size:.85rem;color:var(--faint)}\
@page{margin:14mm 14mm 16mm;@bottom-right{content:counter(page) \" / \" counter(pages);font:9pt system-ui,sans-serif;color:#333}}\
@media print{:root{color-scheme:light;--paper:#fff;--ink:#000;--faint:#333;--grid:#bbb;--sweet:#0072b2;--hands:#b34a00;--mark:#00795a;\
--then:#0072b2;--care:#fff;--edge:#d55e00}html{font-size:10.5pt}main{max-width:none;padding:0}\
h1,h2,h3,caption{break-after:avoid}tr,figure,li,.care,dl div{break-inside:avoid}thead{display:table-header-group}\
.keep{break-inside:avoid}p{orphans:3;widows:3}.wide{overflow:visible}table{font-size:8.5pt}th,td{padding:.15rem .3rem}\
.pictures{display:block;orphans:1;widows:1}.pictures figure{display:inline-block;width:48%;margin:0 1% .5rem 0;vertical-align:top}}";
