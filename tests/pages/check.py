"""A page as a browser, a screen reader and a strict content policy take it. Any complaint is an assertion.

HTML: html5lib's strict parser (the WHATWG parsing algorithm; any parse error fails). The rest: WCAG 2.2 1.3.1, 2.4.1,
2.4.2, 3.1.1, 4.1.2 as far as structure tells, and Content Security Policy level 3 without 'unsafe-inline'.
"""
import re
import sys

import html5lib

X = '{http://www.w3.org/1999/xhtml}'
text = open(sys.argv[1], encoding='utf-8').read()
doc = html5lib.HTMLParser(strict=True).parse(text)
everything = [e for e in doc.iter() if isinstance(e.tag, str)]


def tag(e):
    return e.tag.split('}')[-1]


def within(e):
    return ''.join(e.itertext()).strip()


assert doc.get('lang') == 'en', 'lang'
assert (doc.find(f'{X}head/{X}title').text or '').strip(), 'title'
levels = [int(tag(e)[1]) for e in everything if re.fullmatch('h[1-6]', tag(e))]
assert levels and levels[0] == 1 and levels.count(1) == 1, levels
assert all(b <= a + 1 for a, b in zip(levels, levels[1:])), levels
for landmark in ('header', 'main', 'footer'):
    assert sum(tag(e) == landmark for e in everything) == 1, landmark
ids = [e.get('id') for e in everything if e.get('id')]
assert len(ids) == len(set(ids)), sorted(i for i in ids if ids.count(i) > 1)
for e in everything:
    name = tag(e)
    assert name not in ('img', 'iframe', 'object', 'embed', 'base', 'style', 'foreignObject', 'use', 'image'), name
    if name == 'script':
        assert e.get('src') == '/page.js' and not within(e), 'inline script'
    if name == 'link':
        kind = {'/page.css': 'stylesheet', '/icon.svg': 'icon'}
        assert e.get('rel') == kind[e.get('href')], e.attrib
    if name == 'form':
        assert e.get('action') == '/login' and e.get('method') == 'post', e.attrib
    for key, value in e.attrib.items():
        local = key.split('}')[-1].lower()
        assert not local.startswith('on') and local != 'style', key
        if local in ('href', 'src', 'action'):
            # Nothing but this server, by a path of its own.
            assert re.fullmatch(r'/[a-z0-9/.]*(\?from=-?\d+&to=\d+)?(#[a-z0-9-]+)?|#[a-z0-9-]+', value), value
            if value.startswith('#'):
                assert value[1:] in ids, value
        if 'url(' in value:
            assert re.fullmatch(r'url\(#[\w-]+\)', value) and value[5:-1] in ids, value
    for key in ('aria-labelledby', 'aria-describedby', 'for'):
        for ref in (e.get(key) or '').split():
            assert ref in ids, ref
    if name == 'th':
        assert e.get('scope') in ('col', 'row'), 'th without scope'
    if name == 'table':
        assert e.find(f'{X}caption') is not None, 'table without caption'
    if name in ('a', 'button', 'summary', 'h1', 'h2', 'h3'):
        assert within(e), f'{name} without words'
    if name in ('section', 'nav'):
        assert e.get('aria-label') or e.get('aria-labelledby'), f'{name} without a name'
    if name == 'input':
        assert any(tag(o) == 'label' and o.get('for') == e.get('id') for o in everything), 'input without label'
live = [e for e in everything if e.get('aria-live') == 'polite']
if any(e.get('id') == 'plain' for e in everything):
    assert [e.get('id') for e in live] == ['plain'] and live[0].find(f'{X}h1') is not None, 'plain line'
print(len(everything), 'elements')
