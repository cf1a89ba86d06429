// Keeps a page fresh: it reads without this. Nothing is asked of anybody but the server the page came from.
'use strict';
(() => {
  const view = document.body.dataset.view;
  if (view !== 'home' && view !== 'technician') return;
  const main = document.getElementById('main');
  const fresh = document.getElementById('fresh');
  const lost = document.getElementById('lost');
  // A tick comes at least each 5 s; three missing ones are a lost line.
  const PATIENCE = 16000;
  const AGAIN = 2000;
  const MOVES_ON = 30000;
  let source = null;
  let heard = Date.now();
  let said = new Date(heard).toLocaleTimeString('en-GB');
  let away = false;
  let asked = Date.now();
  let waiting = null;

  // Puts new news in place of old, section by section, so that what did not change keeps focus, selection and openness.
  function put(news) {
    const old = new Map([...main.children].map(e => [e.id, e]));
    const active = document.activeElement;
    const focused = active && main.contains(active) ? active.id : '';
    let before = null;
    for (const e of [...news.children]) {
      let mine = e.id ? old.get(e.id) : null;
      if (mine) {
        old.delete(e.id);
        change(mine, e);
      } else {
        mine = document.importNode(e, true);
      }
      const next = before ? before.nextSibling : main.firstChild;
      if (next !== mine) main.insertBefore(mine, next);
      before = mine;
    }
    for (const e of old.values()) e.remove();
    if (focused && document.activeElement.id !== focused) {
      const again = document.getElementById(focused);
      if (again) again.focus({ preventScroll: true });
    }
  }

  function change(mine, its) {
    if (mine.isEqualNode(its)) return;
    const open = new Map([...mine.querySelectorAll('details[id]')].map(d => [d.id, d.open]));
    for (const d of its.querySelectorAll('details[id]')) {
      if (open.has(d.id)) d.open = open.get(d.id);
    }
    if (mine.isEqualNode(its)) return;
    // The plain line is announced: its element stays, only its words change.
    const line = mine.querySelector('#plain');
    const its_line = its.querySelector('#plain');
    if (line && its_line) {
      if (line.className !== its_line.className) line.className = its_line.className;
      if (line.innerHTML !== its_line.innerHTML) line.replaceChildren(...document.importNode(its_line, true).childNodes);
      for (const e of [...mine.childNodes]) if (e !== line) e.remove();
      let after = false;
      for (const e of [...its.childNodes]) {
        if (e === its_line) { after = true; continue; }
        const copy = document.importNode(e, true);
        if (after) mine.append(copy); else line.before(copy);
      }
      return;
    }
    mine.className = its.className;
    mine.replaceChildren(...document.importNode(its, true).childNodes);
  }

  function put_page(text) {
    const page = new DOMParser().parseFromString(text, 'text/html');
    const news = page.getElementById('main');
    if (!news || page.body.dataset.view !== view) { location.reload(); return; }
    document.title = page.title;
    put(news);
  }

  const here = () => location.pathname + location.search;

  // Draws the page anew; news of a part that was left meanwhile is dropped.
  async function fetch_page() {
    const address = here();
    asked = Date.now();
    try {
      const answer = await fetch(address, { headers: { Accept: 'text/html' }, credentials: 'same-origin' });
      if (answer.status === 401 || answer.status === 403) location.reload();
      if (!answer.ok) return false;
      const text = await answer.text();
      if (address === here()) put_page(text);
      return true;
    } catch { return false; }
  }

  // Not oftener than each 2 s, whatever is pushed.
  function refresh() {
    if (waiting) return;
    const wait = Math.max(0, asked + 2000 - Date.now());
    waiting = setTimeout(() => { waiting = null; fetch_page(); }, wait);
  }

  function alive() {
    heard = Date.now();
    said = new Date(heard).toLocaleTimeString('en-GB');
    fresh.textContent = `Live. Last word from the box at ${said}.`;
    if (away) {
      away = false;
      document.body.classList.remove('away');
      lost.textContent = '';
      refresh();
    }
  }

  function gone() {
    if (away) return;
    away = true;
    document.body.classList.add('away');
    lost.textContent = `This page has lost touch with the box; the last word came at ${said}. What stands below may be old. Trying again.`;
    fresh.textContent = 'Not live.';
  }

  function listen() {
    if (source) source.close();
    source = new EventSource(`/live?view=${view}`);
    source.addEventListener('look', e => {
      alive();
      const news = document.createElement('template');
      news.innerHTML = e.data;
      put(news.content);
      const line = document.querySelector('#plain h1');
      if (line) document.title = line.textContent;
    });
    source.addEventListener('changed', () => { alive(); refresh(); });
    source.addEventListener('tick', () => {
      alive();
      // Where nothing changes, time still passes: the drawing moves on.
      if (view === 'technician' && !document.hidden && Date.now() - asked > MOVES_ON) refresh();
    });
    source.onopen = alive;
    source.onerror = () => {
      if (source.readyState === EventSource.CLOSED) { gone(); setTimeout(listen, AGAIN); return; }
      // The browser tries again by itself; where that takes long, it is said.
      heard = Math.min(heard, Date.now() - PATIENCE + 4000);
    };
  }

  setInterval(() => {
    if (Date.now() - heard < PATIENCE) return;
    gone();
    // A line that is dead without saying so is taken up anew.
    heard = Date.now() - PATIENCE + 5000;
    listen();
  }, 1000);

  // Steps through the record without a jump of the page; keys only while the diagram has the focus (WCAG 2.2: 2.1.4).
  async function follow(link) {
    const address = new URL(link.href);
    history.pushState(null, '', address.pathname + address.search);
    if (!await fetch_page()) location.reload();
  }
  if (view === 'technician') {
    main.addEventListener('click', e => {
      const link = e.target.closest('#diagram .stepping a[href]');
      if (!link || e.button !== 0 || e.metaKey || e.ctrlKey || e.shiftKey || e.altKey) return;
      e.preventDefault();
      follow(link);
    });
    main.addEventListener('keydown', e => {
      if (!e.target.closest('#diagram') || e.metaKey || e.ctrlKey || e.altKey) return;
      const key = e.key === '=' ? '+' : e.key === '_' ? '-' : e.key;
      const link = [...main.querySelectorAll('#diagram a[data-key]')].find(a => a.dataset.key === key);
      if (!link) return;
      e.preventDefault();
      follow(link);
    });
    addEventListener('popstate', fetch_page);
  }

  listen();
})();
