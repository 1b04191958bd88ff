// Copies what the pages embed from node_modules into lib: the chart library,
// and the licences of everything that is inside that one file.
import { copyFileSync, mkdirSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const here = (path) => fileURLToPath(new URL(path, import.meta.url));

mkdirSync(here('lib'), { recursive: true });
for (const [from, to] of [
  ['echarts/dist/echarts.common.min.js', 'echarts.js'],
  ['echarts/LICENSE', 'echarts.LICENSE'],
  ['echarts/NOTICE', 'echarts.NOTICE'],
  ['zrender/LICENSE', 'zrender.LICENSE'],
  ['tslib/LICENSE.txt', 'tslib.LICENSE'],
]) {
  copyFileSync(here(`node_modules/${from}`), here(`lib/${to}`));
}
