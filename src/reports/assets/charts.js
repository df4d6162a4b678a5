// Charts on a time axis: one line through all of them, and a range of days that all of them show. It stands in the
// address (#from=2026-01-01&to=2026-03-31). The page says the same without this.
(function () {
  'use strict';
  var ns = 'http://www.w3.org/2000/svg', day = 86400;
  var months = 'Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec'.split(' ');
  var charts = [].map.call(document.querySelectorAll('svg[data-time]'), chart);
  if (!charts.length) return;
  var whole = [Math.min.apply(null, charts.map(function (c) { return c.whole[0]; })),
    Math.max.apply(null, charts.map(function (c) { return c.whole[1]; }))];
  var shown = null;  // [first second, last second] of the ship's clock; null: all

  function make(name, attributes, inside) {
    var e = document.createElementNS(ns, name);
    for (var k in attributes) e.setAttribute(k, attributes[k]);
    if (inside) inside.appendChild(e);
    return e;
  }
  function rounded(x) { return Math.round(x * 10) / 10; }
  function iso(s) { return new Date(s * 1000).toISOString().slice(0, 10); }
  function begin(text) {
    var s = /^\d{4}-\d\d-\d\d$/.test(text) ? Date.parse(text + 'T00:00:00Z') / 1000 : NaN;
    return isNaN(s) || iso(s) !== text ? null : s;
  }

  // --- one chart ----------------------------------------------------------------------------------------------------
  function chart(svg) {
    var d = svg.getAttribute('data-time').split(' ').map(Number);
    var c = { svg: svg, x0: d[0], x1: d[1], whole: [d[2] + d[6], d[3] + d[6]], moved: [], labels: [], grids: [] };
    c.view = c.whole;
    var id = svg.getAttribute('aria-labelledby').split('-')[0] + '-range';
    var clip = make('clipPath', { id: id });
    make('rect', { x: c.x0, y: -9, width: c.x1 - c.x0, height: svg.viewBox.baseVal.height + 9 }, clip);
    svg.appendChild(clip);
    c.bodies = [].slice.call(svg.querySelectorAll('.on-time'));
    c.clip = 'url(#' + id + ')';
    c.bodies.forEach(function (body) {
      [].forEach.call(body.querySelectorAll('path,circle'), function (e) {
        if (e.closest('clipPath,[data-x]')) return;
        var path = e.getAttribute('d'), xs = path && path.match(/[ML]-?[\d.]+/g).map(function (x) { return +x.slice(1); });
        if (!path) c.moved.push({ e: e, at: +e.getAttribute('cx') });
        else if (e.classList.contains('m')) c.moved.push({ e: e, at: (Math.min.apply(null, xs) + Math.max.apply(null, xs)) / 2 });
        else c.moved.push({ e: e, path: path });
      });
      [].forEach.call(body.querySelectorAll('[data-x]'), function (e) {
        c.labels.push({ e: e, at: e.getAttribute('data-x').split(' ').map(Number) });
      });
    });
    [].forEach.call(svg.querySelectorAll('.time-grid'), function (e) {
      var own = make('g', { 'class': 'range-grid' });
      e.parentNode.insertBefore(own, e);
      c.grids.push({ e: e, own: own, y: e.getAttribute('data-y').split(' ').map(Number) });
    });
    var cross = make('g', { 'class': 'crosshair', 'aria-hidden': 'true' }, svg);
    c.band = make('rect', { 'class': 'band', y: d[4], height: d[5] - d[4] }, cross);
    c.line = make('line', { y1: d[4], y2: d[5] }, cross);
    c.ground = make('rect', { y: d[5] + 1, width: 72, height: 15 }, cross);
    c.words = make('text', { y: d[5] + 12 }, cross);
    c.cross = cross;
    cross.style.display = 'none';
    svg.classList.add('ranged');
    svg.setAttribute('tabindex', '0');
    return c;
  }
  function x_of(c, s) { return c.x0 + (s - c.view[0]) / (c.view[1] - c.view[0]) * (c.x1 - c.x0); }
  function time_of(c, x) { return c.view[0] + (x - c.x0) / (c.x1 - c.x0) * (c.view[1] - c.view[0]); }

  function ticks(from, to, most) {
    var out = [], steps = [1, 2, 7, 14, 31, 62, 93, 186, 372, 744, 1860, 3720], i, s, m, at, d;
    for (i = 0; i < steps.length; ++i) {
      if ((to - from) / day / steps[i] > most) continue;
      out = [];
      if (steps[i] < 31) {
        s = steps[i] * day;  // weeks begin on Mondays
        for (at = Math.ceil((from - 4 * day) / s) * s + 4 * day; at <= to; at += s) out.push(at);
      } else {
        s = steps[i] / 31;
        d = new Date(from * 1000);
        for (m = Math.floor((d.getUTCFullYear() * 12 + d.getUTCMonth()) / s) * s; ; m += s) {
          at = Date.UTC(Math.floor(m / 12), m % 12, 1) / 1000;
          if (at > to) break;
          if (at >= from) out.push(at);
        }
      }
      if (out.length <= most) break;
    }
    return out.map(function (t) {
      var d = new Date(t * 1000), first = d.getUTCDate() === 1, year = first && d.getUTCMonth() === 0;
      var text = steps[i] < 31 ? d.getUTCDate() + ' ' + months[d.getUTCMonth()] : months[d.getUTCMonth()];
      return { at: t, text: year && steps[i] >= 31 ? String(d.getUTCFullYear()) : text, year: year };
    });
  }
  function draw_grid(c) {
    var all = ticks(c.view[0], c.view[1], 10);
    c.grids.forEach(function (g) {
      g.own.textContent = '';
      g.e.style.display = shown ? 'none' : '';
      if (!shown) return;
      var is_labels = g.y[0] === g.y[1], end = -1e9, has_year = false;
      all.forEach(function (t) {
        var x = rounded(x_of(c, t.at));
        make('line', { x1: x, x2: x, y1: g.y[0], y2: is_labels ? g.y[0] + 4 : g.y[1], 'class': t.year || is_labels ? 'strong' : '' }, g.own);
        if (!is_labels) return;
        var e = make('text', { x: x, y: g.y[0] + 15 }, g.own);
        e.textContent = t.text + (has_year || /^\d{4}$/.test(t.text) ? '' : ' ' + iso(t.at).slice(0, 4));
        var half = e.getComputedTextLength() / 2;
        if (x - half < end + 5) e.remove();
        else { end = x + half; has_year = true; }
      });
    });
  }
  function draw(c) {
    c.view = shown || c.whole;
    var f = (c.whole[1] - c.whole[0]) / (c.view[1] - c.view[0]);
    var off = c.x0 - x_at(c.view[0]) * f;
    function x_at(s) { return c.x0 + (s - c.whole[0]) / (c.whole[1] - c.whole[0]) * (c.x1 - c.x0); }
    function to(x) { return off + x * f; }
    function shift(e, by) {
      if (by) e.setAttribute('transform', 'translate(' + rounded(by) + ' 0)');
      else e.removeAttribute('transform');
    }
    c.moved.forEach(function (m) {
      if (m.path) m.e.setAttribute('d', shown ? m.path.replace(/([ML])(-?[\d.]+) /g, function (all, how, x) { return how + rounded(to(+x)) + ' '; }) : m.path);
      else shift(m.e, shown ? to(m.at) - m.at : 0);
    });
    c.labels.forEach(function (l) {
      l.e.style.display = '';
      if (!shown) { shift(l.e, 0); return; }
      var from = to(l.at[0]), until = to(l.at[1]);
      if (until < c.x0 || from > c.x1) { l.e.style.display = 'none'; return; }
      // On the side where it was, else on the other; within the chart as long as what it is about is.
      var b = l.e.getBBox(), right = b.x - l.at[1], left = l.at[0] - b.x - b.width, x;
      var after = until + Math.max(right, left), before = from - Math.max(right, left) - b.width;
      if (right < 0 && left < 0) x = b.x + (from + until - l.at[0] - l.at[1]) / 2;
      else if (right >= 0) x = after + b.width > c.x1 && before > c.x0 ? before : after;
      else x = before < c.x0 && after + b.width < c.x1 ? after : before;
      shift(l.e, Math.max(c.x0 + 3, Math.min(c.x1 - 3 - b.width, x)) - b.x);
    });
    c.bodies.forEach(function (b) {
      if (shown) b.setAttribute('clip-path', c.clip);
      else b.removeAttribute('clip-path');
    });
    draw_grid(c);
  }

  // --- the line, and the range in the making ------------------------------------------------------------------------
  function point(s, other) {
    charts.forEach(function (c) {
      var is_in = s !== null && s >= c.view[0] && s <= c.view[1];
      c.cross.style.display = is_in ? '' : 'none';
      if (!is_in) return;
      var x = rounded(x_of(c, s)), y = other === null ? x : rounded(Math.max(c.x0, Math.min(c.x1, x_of(c, other))));
      c.line.setAttribute('x1', x);
      c.line.setAttribute('x2', x);
      c.ground.setAttribute('x', x - 36);
      c.words.setAttribute('x', x);
      c.words.textContent = iso(s);
      c.band.setAttribute('x', Math.min(x, y));
      c.band.setAttribute('width', Math.abs(x - y));
    });
  }
  charts.forEach(function (c) {
    var start = null, at = null, is_drag = false;
    function where(e) {
      var b = c.svg.getBoundingClientRect();
      return (e.clientX - b.left) * c.svg.viewBox.baseVal.width / b.width;
    }
    function within(x) { return time_of(c, Math.max(c.x0, Math.min(c.x1, x))); }
    // A finger on a chart that is wider than the screen scrolls it.
    function is_scroll(e) { return e.pointerType === 'touch' && c.svg.parentNode.scrollWidth > c.svg.parentNode.clientWidth; }
    function stop() { start = null; is_drag = false; at = null; point(null, null); }
    c.svg.addEventListener('pointerdown', function (e) {
      var x = where(e);
      if (e.button !== 0 || is_scroll(e) || x < c.x0 || x > c.x1) return;
      start = within(x);
      is_drag = true;
      c.svg.setPointerCapture(e.pointerId);
    });
    // A press on a chart is no visit of it by keyboard: no frame around it, no text taken up.
    c.svg.addEventListener('mousedown', function (e) { e.preventDefault(); });
    document.addEventListener('keydown', function (e) { if (e.key === 'Escape' && is_drag) stop(); });
    c.svg.addEventListener('pointermove', function (e) {
      var x = where(e);
      if (!is_drag && (x < c.x0 || x > c.x1)) { point(null, null); return; }
      at = within(x);
      point(at, is_drag ? start : null);
    });
    c.svg.addEventListener('pointerup', function (e) {
      if (!is_drag) return;
      var end = within(where(e)), begun = start;
      stop();
      if (Math.abs(x_of(c, end) - x_of(c, begun)) > 5) choose(begun, end);
    });
    c.svg.addEventListener('pointercancel', stop);
    c.svg.addEventListener('pointerleave', function () { if (!is_drag) stop(); });
    c.svg.addEventListener('blur', stop);
    c.svg.addEventListener('keydown', function (e) {
      var steps = { ArrowLeft: -1, ArrowRight: 1, PageDown: 10, PageUp: -10 }, span = c.view[1] - c.view[0];
      if (e.altKey || e.ctrlKey || e.metaKey) return;
      if (steps[e.key]) at = (at === null ? c.view[0] + span / 2 : at) + steps[e.key] * Math.max(day, span / 100);
      else if (e.key === 'Home') at = c.view[0];
      else if (e.key === 'End') at = c.view[1];
      else if (e.key === 'Escape') { stop(); return; }
      else if (e.key === 'Enter' && at !== null) {
        if (start === null) start = at;
        else { var begun = start, end = at; stop(); choose(begun, end); return; }
      } else return;
      e.preventDefault();
      at = Math.max(c.view[0], Math.min(c.view[1], at));
      point(at, start);
      says.textContent = iso(at) + (start === null ? '' : ', from ' + iso(start));
    });
  });

  // --- the fields, and the address ----------------------------------------------------------------------------------
  var form = document.querySelector('form.range') || own_form(), says = document.createElement('p');
  var from = form.querySelector('[name=from]'), to = form.querySelector('[name=to]');
  var buttons = [['Earlier', -0.5], ['Later', 0.5], ['All', 0]].map(function (b) {
    var e = document.createElement('button');
    e.type = 'button';
    e.textContent = b[0];
    e.addEventListener('click', function () { b[1] ? step(b[1]) : all(); });
    form.appendChild(e);
    return e;
  });
  var back = form.querySelector('a');  // the page was made of a range: all is another page
  if (back) back.remove();
  says.setAttribute('role', 'status');
  form.appendChild(says);
  var hint = document.createElement('p');
  hint.className = 'quiet';
  hint.textContent = 'Name two days, or drag over a chart with mouse or pen. In a chart, arrow keys move the line and Enter sets both ends.';
  form.insertAdjacentElement('afterend', hint);

  function own_form() {
    var f = document.createElement('form');
    f.className = 'range';
    f.setAttribute('aria-label', 'Days that the charts show');
    [['from', 'Charts from'], ['to', 'to']].forEach(function (x) {
      var label = document.createElement('label'), input = document.createElement('input');
      label.textContent = x[1] + ' ';
      input.type = 'date';
      input.name = x[0];
      label.appendChild(input);
      f.appendChild(label);
    });
    var show = document.createElement('button');
    show.textContent = 'Show';
    f.appendChild(show);
    var first = charts[0].svg.closest('.linked') || charts[0].svg.parentNode;
    first.insertBefore(f, first.firstChild);
    return f;
  }
  /** Whole days, within what there is; false where there is nothing. */
  function set(a, b) {
    var low = Math.max(whole[0], a), high = Math.min(whole[1], b);
    if (!(low < high)) return false;
    shown = [low, high];
    return true;
  }
  function redraw() {
    point(null, null);
    charts.forEach(draw);
    form.classList.toggle('on', shown !== null);
    buttons.forEach(function (b, i) { b.hidden = shown === null && !(i === 2 && back); });
    if (shown) {
      from.value = iso(shown[0]);
      to.value = iso(shown[1] - 1);
    } else {
      from.value = from.defaultValue;
      to.value = to.defaultValue;
    }
    says.textContent = shown ? from.value + ' to ' + to.value : '';
  }
  function address(hash) {
    if (location.hash !== hash) history.pushState(null, '', location.pathname + location.search + hash);
  }
  function choose(a, b) {
    var low = Math.min(a, b), high = Math.max(a, b);
    if (!set(Math.floor(low / day) * day, Math.floor(high / day) * day + day)) return;
    redraw();
    address('#from=' + from.value + '&to=' + to.value);
  }
  function step(part) {
    var by = Math.max(1, Math.round(Math.abs(part) * (shown[1] - shown[0]) / day)) * day * (part < 0 ? -1 : 1);
    by = Math.max(whole[0] - shown[0], Math.min(whole[1] - shown[1], by));
    if (by) choose(shown[0] + by, shown[1] + by - 1);
  }
  function all() {
    if (back) { location.assign(back.href); return; }
    shown = null;
    redraw();
    address('');
    from.focus();
  }
  form.addEventListener('submit', function (e) {
    var a = from.value ? begin(from.value) : whole[0], b = to.value ? begin(to.value) : whole[1] - day;
    // What this page does not have, the server may.
    if (back && (a === null || b === null || a < whole[0] || b + day > whole[1])) return;
    e.preventDefault();
    if (!from.value && !to.value) { all(); return; }
    if (a === null || b === null) says.textContent = 'A day is expected, such as 2026-10-01.';
    else if (a > b) says.textContent = 'The first day must not be after the last.';
    else if (b + day <= whole[0] || a >= whole[1]) says.textContent = 'The charts run from ' + iso(whole[0]) + ' to ' + iso(whole[1]) + '.';
    else choose(a, b);
  });
  function read() {
    var m = /^#from=([\d-]+)&to=([\d-]+)$/.exec(location.hash), a = m && begin(m[1]), b = m && begin(m[2]);
    if (m && a !== null && b !== null) { if (!set(a, b + day)) shown = null; redraw(); }
    else if (!location.hash) { shown = null; redraw(); }
  }
  window.addEventListener('popstate', read);
  redraw();
  read();
  if (shown) form.scrollIntoView();
})();
