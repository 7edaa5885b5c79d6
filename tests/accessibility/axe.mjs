// Looks at pages with axe-core, a general-purpose accessibility checker: wide and narrow, light and dark, with everything
// opened. Exits 1 on a finding of impact "serious" or "critical", or where the page itself scrolls sideways,
// 2 when it is given no page.
//
//   npm install --prefix /tmp/axe axe-core puppeteer-core
//   NODE_PATH=/tmp/axe/node_modules CHROMIUM=/usr/bin/chromium node tests/accessibility/axe.mjs linedrift-report/index.html
import { createRequire } from 'node:module';
import { join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';

const files = process.argv.slice(2);
if (files.length === 0) {
  console.error('usage: axe.mjs PAGE...');
  process.exit(2);
}
const modules = process.env.NODE_PATH ?? 'node_modules';
const require = createRequire(pathToFileURL(join(resolve(modules), 'x.js')));
const puppeteer = require('puppeteer-core');
const axe = require.resolve('axe-core/axe.min.js');

const browser = await puppeteer.launch({
  executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
  args: ['--no-sandbox', '--headless=new'],
});
let bad = 0;
for (const file of files) {
  for (const width of [1280, 390]) {
    for (const scheme of ['light', 'dark']) {
      const page = await browser.newPage();
      await page.setViewport({ width, height: 900 });
      await page.emulateMediaFeatures([{ name: 'prefers-color-scheme', value: scheme }]);
      await page.goto(pathToFileURL(resolve(file)).href);
      await page.evaluate(() => {
        // of many wings the first five: they are all built alike
        [...document.querySelectorAll('details.wing')].slice(0, 5).forEach((one) => { one.open = true; });
        document.querySelectorAll('details.lines').forEach((one) => { one.open = true; });
      });
      const wide = await page.evaluate(() => document.documentElement.scrollWidth);
      await page.addScriptTag({ path: axe });
      const found = await page.evaluate(async () => (await globalThis.axe.run(document)).violations);
      const serious = found.filter((one) => ['serious', 'critical'].includes(one.impact));
      console.log(`${file} ${width} px ${scheme}: ${found.length} finding(s), ${serious.length} serious; page is ${wide} px wide`);
      for (const one of found) {
        console.log(`  ${one.impact}: ${one.id}, ${one.help} (${one.nodes.length} places, first ${one.nodes[0].target})`);
      }
      bad += serious.length + (wide > width ? 1 : 0);
      await page.close();
    }
  }
}
await browser.close();
process.exit(bad === 0 ? 0 : 1);
