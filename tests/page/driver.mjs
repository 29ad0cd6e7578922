// What the tests of the page share: the page in a headless browser that reaches nothing else, and what a
// person does there.
import { existsSync, mkdirSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';

const modules = resolve(process.env.PIVOTRACE_PAGE_MODULES);
export const required = createRequire(join(modules, 'x.js'));
export const pageFile = resolve(process.env.PIVOTRACE_PAGE);
export const pictures = process.env.PIVOTRACE_KEEP ? resolve(process.env.PIVOTRACE_KEEP) : null;
const { chromium } = required('playwright-core');

const chromiumPath = ['/usr/bin/chromium', '/usr/bin/chromium-browser'].find(existsSync);
/** The machine that runs the tests may be busy. */
const patience = 300000;

/** Without a graphics card the drawing takes most of the time: only the tests that look at it ask for it. */
export async function openBrowser({ drawing = false } = {}) {
  const graphics = drawing ? ['--use-angle=swiftshader', '--enable-unsafe-swiftshader'] : ['--disable-3d-apis'];
  return chromium.launch({ executablePath: chromiumPath, args: ['--no-sandbox', '--no-proxy-server', ...graphics] });
}

/** A fresh visitor: {page, context, requests, faults}; whatever is asked of a network is noted and refused. */
export async function visit(browser, { width = 1280, height = 900, colorScheme = 'light', finger = false } = {}) {
  const context = await browser.newContext({ viewport: { width, height }, colorScheme, acceptDownloads: true, hasTouch: finger, isMobile: finger });
  context.setDefaultTimeout(patience);
  const requests = [];
  const faults = [];
  await context.route('**/*', (route) => {
    const url = route.request().url();
    if (url.startsWith('file:') || url.startsWith('data:') || url.startsWith('blob:')) return route.continue();
    requests.push(url);
    return route.abort();
  });
  const page = await context.newPage();
  page.on('pageerror', (fault) => faults.push(String(fault)));
  page.on('console', (message) => {
    if (message.type() === 'error' && !message.text().includes('WebGL')) faults.push(message.text());
  });
  await page.goto(pathToFileURL(pageFile).href);
  await page.waitForFunction(() => globalThis.pivotracePage);
  return { page, context, requests, faults };
}

export async function enter(page, room) {
  await page.click(`nav a[href="#${room}"]`);
  await page.waitForSelector(`#room-${room}:not([hidden])`);
}

/** The room shown, for looking things up in it. */
export const room = (page) => page.locator('#rooms > section:not([hidden])');

export async function openDetails(page, title) {
  const summary = room(page).locator('summary', { hasText: title }).first();
  if (!(await summary.evaluate((each) => each.parentElement.open))) await summary.click();
}

export async function press(page, name) {
  await room(page).getByRole('button', { name, exact: true }).first().click();
}

export async function openDemo(page, key) {
  await enter(page, 'machine');
  await room(page).getByLabel('A demo').selectOption(key);
  await press(page, 'Open the demo');
}

/** Waits until the room says it. */
export async function says(page, text) {
  await room(page).getByText(text).first().waitFor();
}

export const fileText = (page, name) => page.evaluate((each) => globalThis.pivotracePage.shop.text(each), name);
export const fileNames = (page) => page.evaluate(() => [...globalThis.pivotracePage.shop.files.keys()]);

export async function drop(page, label, files) {
  const payload = Object.entries(files).map(([name, text]) => ({ name, mimeType: 'text/plain', buffer: Buffer.from(text) }));
  await room(page).locator('label.drop', { hasText: label }).first().locator('input').setInputFiles(payload);
}

export async function keepPicture(page, name) {
  if (!pictures) return;
  mkdirSync(pictures, { recursive: true });
  await page.screenshot({ path: join(pictures, `${name}.png`), fullPage: true });
}
