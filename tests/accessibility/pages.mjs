// Looks at pages in a real browser: by measuring boxes at 390, 768 and 1280 px and on A4, everything opened, and with axe-core, a
// general-purpose accessibility checker, on a phone in light and on a wide screen in dark. Exits 1 where axe-core finds something
// "serious" or "critical", the page scrolls sideways, two texts of a figure cover each other, a text is cut, a table does not fit
// 1280 px or paper, or a page prints on more sheets than it may; 2 when it is given no page.
//
//   npm install --prefix /tmp/browser axe-core playwright-core
//   NODE_PATH=/tmp/browser/node_modules CHROMIUM=/usr/bin/chromium \
//     node tests/accessibility/pages.mjs linedrift-report/index.html=4 wing/index.html=2 protocol.html=1
import { createRequire } from 'node:module';
import { join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';

const pages = process.argv.slice(2).map((one) => one.split('='));
if (pages.length === 0) {
  console.error('usage: pages.mjs PAGE[=SHEETS]...');
  process.exit(2);
}
const require = createRequire(pathToFileURL(join(resolve(process.env.NODE_PATH ?? 'node_modules'), 'x.js')));
const { chromium } = require('playwright-core');
const axe = require.resolve('axe-core/axe.min.js');
const browser = await chromium.launch({
  timeout: 120000,
  executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
});

// A page that is loaded; under load a browser gives up now and then, so it is asked up to three times.
const visit = async (page, file, left = 2) => {
  page.setDefaultTimeout(120000);
  try {
    await page.goto(pathToFileURL(resolve(file)).href);
  } catch (error) {
    if (left === 0) throw error;
    await visit(page, file, left - 1);
  }
};

// In the page: texts of a figure that cover each other or reach out of it, and cells whose text is cut.
const faults = (whole) => {
  const found = [];
  for (const svg of document.querySelectorAll('svg')) {
    if (svg.getClientRects().length === 0) continue;
    const frame = svg.getBoundingClientRect();
    const texts = [...svg.querySelectorAll('text')].filter((text) => text.getClientRects().length > 0)
      .map((text) => [text.textContent, text.getBoundingClientRect()]);
    const name = svg.querySelector('title').textContent;
    texts.forEach(([text, box], at) => {
      if (box.left < frame.left - 1 || box.right > frame.right + 1 || box.top < frame.top - 1 || box.bottom > frame.bottom + 1) {
        found.push(`${name}: "${text}" reaches out of its figure`);
      }
      for (const [other, its] of texts.slice(at + 1)) {
        const across = Math.min(box.right, its.right) - Math.max(box.left, its.left);
        // the box of a text is higher than its letters
        const down = Math.min(box.bottom, its.bottom) - Math.max(box.top, its.top) - 0.3 * Math.min(box.height, its.height);
        if (across > 1 && down > 1) found.push(`${name}: "${text}" covers "${other}"`);
      }
    });
  }
  for (const box of document.querySelectorAll(whole ? '.wide, td, th' : 'td, th')) {
    if (box.getClientRects().length > 0 && box.scrollWidth > box.clientWidth + 2 && getComputedStyle(box).textOverflow !== 'ellipsis') {
      found.push(`"${box.textContent.trim().slice(0, 40)}" is cut: ${box.scrollWidth} of ${box.clientWidth} px`);
    }
  }
  return found;
};

let bad = 0;
const say = (file, how, found) => {
  bad += found.length;
  console.log(`${file} ${how}: ${found.length} fault(s)`);
  for (const one of found.slice(0, 12)) console.log(`  ${one}`);
};
for (const [file, sheets] of pages) {
  for (const [width, colorScheme, checked] of [[390, 'light', true], [768, 'light', false], [1280, 'dark', true]]) {
    const page = await browser.newPage({ viewport: { width, height: 900 }, colorScheme });
    await visit(page, file);
    const open = (wings) => page.evaluate((wings) => {
      [...document.querySelectorAll('details.wing')].forEach((one, place) => { one.open = place < wings; });
      document.querySelectorAll('details:not(.wing)').forEach((one) => { one.open = true; });
    }, wings);
    await open(1000);
    const found = await page.evaluate(faults, width >= 1280);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth);
    if (wide > width) found.push(`the page is ${wide} px wide`);
    if (checked) {
      // of many wings the first three: they are all built alike
      await open(3);
      await page.addScriptTag({ path: axe });
      const violations = await page.evaluate(async () => (await globalThis.axe.run(document)).violations);
      for (const one of violations) {
        const text = `${one.impact}: ${one.id}, ${one.help} (${one.nodes.length} places, first ${one.nodes[0].target})`;
        if (['serious', 'critical'].includes(one.impact)) found.push(text); else console.log(`  ${text}`);
      }
    }
    say(file, `${width} px ${colorScheme}`, found);
    await page.close();
  }
  // A4 less its margins
  const page = await browser.newPage({ viewport: { width: 710, height: 1040 } });
  await visit(page, file);
  await page.emulateMedia({ media: 'print' });
  const found = await page.evaluate(faults, true);
  const printed = (await page.pdf({ preferCSSPageSize: true })).toString('latin1').match(/\/Type \/Page\b(?!s)/g).length;
  if (sheets && printed > Number(sheets)) found.push(`${printed} sheets of A4, expected at most ${sheets}`);
  say(file, `A4, ${printed} sheet(s)`, found);
  await page.close();
}
await browser.close();
process.exit(bad === 0 ? 0 : 1);
