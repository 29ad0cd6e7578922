// Runs inside a page: finds what a reader would stumble over and leaves it in the page as text, a line each.
// Text widths and colours are the browser's own, not those the program reckoned with.
(() => {
  const faults = [];
  const shown = element => {
    const box = element.getBoundingClientRect();
    const style = getComputedStyle(element);
    return box.width > 0 && box.height > 0 && style.visibility !== 'hidden';
  };
  const words = element => element.textContent.trim().replace(/\s+/g, ' ').slice(0, 40);

  // W3C, Web Content Accessibility Guidelines 2.1, relative luminance and contrast ratio; 4.5 is its level AA.
  const channel = value => {
    const part = value / 255;
    return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4;
  };
  const luminance = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
  const contrast = (a, b) => {
    const [high, low] = [luminance(a), luminance(b)].sort((x, y) => y - x);
    return (high + 0.05) / (low + 0.05);
  };
  const parts = colour => (colour.match(/[\d.]+/g) || []).map(Number);
  const opaque = colour => colour !== 'none' && parts(colour).length >= 3 &&
      (parts(colour).length < 4 || parts(colour)[3] > 0.5);
  const behind = element => {
    for (let at = element; at; at = at.parentElement) {
      const colour = getComputedStyle(at).backgroundColor;
      if (opaque(colour)) return parts(colour);
    }
    return [255, 255, 255];
  };
  // What was drawn last under the middle of a label.
  const under = text => {
    const box = text.getBoundingClientRect();
    const x = (box.left + box.right) / 2;
    const y = (box.top + box.bottom) / 2;
    let colour = behind(text.ownerSVGElement);
    for (const shape of text.ownerSVGElement.querySelectorAll('rect,circle,ellipse,polygon,path')) {
      if (shape.closest('defs') || !(shape.compareDocumentPosition(text) & 4)) continue;
      const fill = getComputedStyle(shape).fill;
      const around = shape.getBoundingClientRect();
      const inside = x > around.left && x < around.right && y > around.top && y < around.bottom;
      if (inside && opaque(fill) && shape.tagName === 'rect') colour = parts(fill);
    }
    return colour;
  };

  // A4 with margins of 15 mm is 680 CSS pixels wide; 9 pt are 12 of them.
  const smallest = 12 - 0.01;
  for (const svg of document.querySelectorAll('svg')) {
    const labels = [...svg.querySelectorAll('text')].filter(shown);
    for (const label of labels) {
      const scale = Math.abs(label.getScreenCTM().a) || Math.abs(label.getScreenCTM().b);
      const size = parseFloat(getComputedStyle(label).fontSize) * scale;
      if (size < smallest) faults.push(`small: ${size.toFixed(1)} px: "${words(label)}"`);
      const ratio = contrast(parts(getComputedStyle(label).fill), under(label));
      if (ratio < 4.5) faults.push(`pale: contrast ${ratio.toFixed(2)}: "${words(label)}"`);
    }
    for (let i = 0; i < labels.length; ++i) {
      const a = labels[i].getBoundingClientRect();
      for (let j = i + 1; j < labels.length; ++j) {
        const b = labels[j].getBoundingClientRect();
        // A pixel is the room above and below the letters.
        const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        if (wide > 1 && high > 3) {
          faults.push(`overlap: "${words(labels[i])}" and "${words(labels[j])}"`);
        }
      }
    }
  }
  for (const element of document.body.querySelectorAll('*')) {
    const own = [...element.childNodes].some(node => node.nodeType === 3 && node.data.trim());
    if (!own || element.closest('svg,script,style') || !shown(element)) continue;
    const style = getComputedStyle(element);
    if (parseFloat(style.fontSize) < smallest) faults.push(`small: "${words(element)}"`);
    const ratio = contrast(parts(style.color), behind(element));
    if (ratio < 4.5) faults.push(`pale: contrast ${ratio.toFixed(2)}: "${words(element)}"`);
  }
  for (const link of document.querySelectorAll('a[href]')) {
    const target = link.getAttribute('href');
    if (!target.startsWith('#') || !document.getElementById(target.slice(1))) {
      faults.push(`dead link: ${target}`);
    }
  }
  const inside = address => address === '' || address.startsWith('#') || address.startsWith('data:');
  for (const element of document.querySelectorAll('[src],[srcset],[data],link[href],image,use')) {
    for (const name of ['src', 'srcset', 'data', 'href', 'xlink:href']) {
      const address = element.getAttribute(name) || '';
      if (!inside(address)) faults.push(`asks for ${address}`);
    }
  }
  for (const style of document.querySelectorAll('style')) {
    if (/@import|url\(/.test(style.textContent)) faults.push('asks for what a style names');
  }
  for (const asked of performance.getEntriesByType('resource')) {
    faults.push(`asks for ${asked.name}`);
  }
  if (document.documentElement.scrollWidth > window.innerWidth + 1) {
    faults.push(`wider than the page: ${document.documentElement.scrollWidth} px`);
  }
  const found = document.createElement('pre');
  found.id = 'what-was-found';
  found.textContent = faults.join('\n');
  document.body.append(found);
})();
