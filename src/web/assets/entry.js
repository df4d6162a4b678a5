// Forms that lose nothing: what is typed waits in this browser until the ship's server has it. Each record carries an
// id that is made here, so that sending twice keeps once.
(function () {
  'use strict';
  // One key a record: tabs see each other's writing late, and a list that two of them write loses entries.
  var kUnsent = 'shaftlog.unsent.';
  var token = null;
  var who = document.body.getAttribute('data-who') || '';  // the account, as last heard of; empty: none

  function field(form, name) { return form.querySelector('[name="' + name + '"]'); }
  /** What waits, the oldest first: ids of version 7 sort by time. */
  function read() {
    return Object.keys(localStorage).filter(function (k) { return k.indexOf(kUnsent) === 0; }).sort().map(function (k) {
      try { return JSON.parse(localStorage.getItem(k)); } catch (e) { return null; }
    }).filter(Boolean);
  }
  function wait(id, fields, label, author) {
    localStorage.setItem(kUnsent + id, JSON.stringify({ id: id, fields: fields, label: label, who: author }));
  }
  /** Whether it may go under the name that is signed in: what somebody typed is sent as theirs or not at all. */
  function isOurs(author) { return author === undefined || author === who; }
  function forget(id) {
    localStorage.removeItem(kUnsent + id);
    show();
  }
  function mark(x, as, why) {
    x[as] = why;
    localStorage.setItem(kUnsent + x.id, JSON.stringify(x));
    show();
  }
  // RFC 9562, version 7: 48 bits of milliseconds, then chance.
  function newId() {
    var b = new Uint8Array(16), ms = Date.now();
    crypto.getRandomValues(b);
    for (var i = 5; i >= 0; i--) { b[i] = ms % 256; ms = Math.floor(ms / 256); }
    b[6] = 0x70 | (b[6] & 15);
    b[8] = 0x80 | (b[8] & 63);
    var h = Array.prototype.map.call(b, function (x) { return (x < 16 ? '0' : '') + x.toString(16); }).join('');
    return [h.slice(0, 8), h.slice(8, 12), h.slice(12, 16), h.slice(16, 20), h.slice(20)].join('-');
  }
  // The ship's clock now, with its offset, to the minute.
  function shipTime(form) {
    var offset = Number(form.getAttribute('data-offset')) || 0;
    var local = new Date(Date.now() + offset * 60000).toISOString().slice(0, 16);
    var a = Math.abs(offset), two = function (n) { return (n < 10 ? '0' : '') + n; };
    return local + (offset === 0 ? 'Z' : (offset < 0 ? '-' : '+') + two(Math.floor(a / 60)) + ':' + two(a % 60));
  }
  /** The moment that an empty field stands for, and that this device's clock tells it: the server compares the two. */
  function ownMoment(form, name) { return [[name, shipTime(form)], ['clock', 'own']]; }
  function encoded(fields) {
    return fields.map(function (f) { return encodeURIComponent(f[0]) + '=' + encodeURIComponent(f[1]); }).join('&');
  }
  function post(path, fields) {
    return fetch(path, {
      method: 'POST', credentials: 'same-origin', redirect: 'error',
      headers: { 'Content-Type': 'application/x-www-form-urlencoded', 'X-Form-Token': token || '' },
      body: encoded(fields)
    }).then(function (r) { return r.json().catch(function () { return {}; }).then(function (j) { return [r.status, j]; }); });
  }
  function because(why) {
    var e = new Error(why);
    e.why = why;
    return e;
  }
  // A page that was loaded before the server was started anew has an old token; another may have signed in since.
  function renewToken() {
    return fetch('/api/token', { credentials: 'same-origin' }).then(function (r) {
      if (r.status === 401) throw because('session');
      if (!r.ok) throw because('server');
      return r.json().then(function (j) {
        token = j.form_token;
        who = j.who || '';
      });
    });
  }
  /** Sends it as `author` (undefined: as whoever is signed in). Fails with `why`: the session is over, the account is
   * another one; without: no answer. */
  function patient(path, fields, author) {
    var go = function () {
      if (!isOurs(author)) throw because('account');
      return post(path, fields).then(function (a) {
        if (a[0] === 401) throw because('session');
        return a;
      });
    };
    return (token ? Promise.resolve() : renewToken()).then(go).then(function (a) {
      if (a[0] !== 403) return a;
      return renewToken().then(go);
    });
  }
  /** A sentence, with the way to sign in that comes back to this page. */
  function notice(box, text, withSignIn) {
    box.textContent = text + ' ';
    if (!withSignIn) return;
    var a = document.createElement('a');
    a.href = '/sign-in?then=' + encodeURIComponent(location.pathname + location.search);
    a.textContent = 'Sign in';
    box.appendChild(a);
  }
  function named(author) { return author || 'the one who typed it without an account'; }
  function whyNotSent(why, author) {
    if (why === 'session') return 'The session is over. It is kept in this browser, and is sent when ' + named(author) + ' has signed in.';
    if (why === 'account') return 'Another account is signed in here now' + (who ? ': ' + who : '') + '. It is kept in this browser for ' + named(author) + '.';
    return 'The server does not answer. It is kept in this browser and will be sent.';
  }

  // --- what waits --------------------------------------------------------------------------------------------------
  var sending = false, isOver = false, dropping = '';
  /** isAnew: also what was not for its author to send when it was tried before; rights may have come back. */
  function sendAll(isAnew) {
    if (sending) return Promise.resolve();
    var next = read().filter(function (x) { return !x.refused && (isAnew === true || !x.held) && isOurs(x.who); });
    if (!next.length) { show(); return Promise.resolve(); }
    sending = true;
    var step = function (i) {
      if (i >= next.length) return Promise.resolve();
      return patient('/api/records', next[i].fields, next[i].who).then(function (a) {
        isOver = false;
        if (a[0] === 200 || a[0] === 201) forget(next[i].id);
        else if (a[0] === 403 || a[0] === 404) mark(next[i], 'held', a[1].error || 'not for this account');
        else if (a[0] === 400 || a[0] === 409 || a[0] === 413 || a[0] === 422) mark(next[i], 'refused', a[1].error || 'refused');
        else throw because('server');
      }, function (e) {
        if (e.why !== 'account') throw e;  // it waits; another's may go
      }).then(function () { return step(i + 1); });
    };
    return step(0).catch(function (e) { isOver = e.why === 'session'; }).then(function () { sending = false; show(); });
  }
  function button(text, act) {
    var b = document.createElement('button');
    b.type = 'button';
    b.textContent = text;
    b.addEventListener('click', act);
    return b;
  }
  function show() {
    var bar = document.getElementById('unsent'), list = read();
    if (!bar) return;
    var others = list.filter(function (x) { return !isOurs(x.who); });
    var names = others.map(function (x) { return x.who || 'no account'; }).filter(function (n, i, all) { return all.indexOf(n) === i; });
    bar.hidden = !list.length;
    bar.textContent = list.length ? list.length + ' not yet sent' + (names.length ? ' (' + (others.length === list.length ? '' : others.length + ' ') + 'of ' + names.join(', ') + ')' : '') : '';
    var old = document.querySelector('.unsent-list');
    if (old) old.remove();
    if (!list.length) return;
    var box = document.createElement('section'), head = document.createElement('p'), ul = document.createElement('ul');
    box.className = 'unsent-list';
    box.setAttribute('aria-label', 'Not yet sent');
    if (isOver) notice(head, 'Kept in this browser. The session is over: each is sent when the one who typed it has signed in.', location.pathname !== '/sign-in');
    else head.textContent = others.length === list.length ? 'Kept in this browser until the one who typed it signs in:'
      : 'Kept in this browser, and sent once when the server answers:';
    list.forEach(function (x) {
      var li = document.createElement('li'), isTheirs = !isOurs(x.who);
      li.textContent = x.label + (x.refused ? ' - refused: ' + x.refused
        : isTheirs ? ' - waits for ' + named(x.who) + ' to sign in' : x.held ? ' - not taken from this account: ' + x.held : '') + ' ';
      if (isTheirs && x.who === '' && who) {
        li.appendChild(button('Send it as ' + who, function () {
          mark(x, 'who', who);
          sendAll(true);
        }));
      }
      if (x.refused || x.held || isTheirs) {
        li.appendChild(button(dropping === x.id ? 'Yes, drop it for good' : 'Drop it', function () {
          if (dropping === x.id) { forget(x.id); return; }
          dropping = x.id;
          show();
        }));
        if (dropping === x.id) {
          li.appendChild(document.createTextNode(' It is kept nowhere else. '));
          li.appendChild(button('No', function () {
            dropping = '';
            show();
          }));
        }
      }
      ul.appendChild(li);
    });
    box.appendChild(head);
    box.appendChild(ul);
    var main = document.getElementById('main');
    main.insertBefore(box, main.firstChild.nextSibling);
  }

  // --- one record --------------------------------------------------------------------------------------------------
  function fieldsOf(form) {
    var out = [], data = new FormData(form), unit = data.get('unit');
    data.forEach(function (value, name) {
      if (name === 'form_token' || name === 'right' || name === 'right_remark' || value === '') return;
      var el = field(form, name), only = el && el.getAttribute && el.getAttribute('data-with-unit');
      if (only && unit !== only) return;
      out.push([name, String(value).trim()]);
    });
    if (!data.get('vessel')) out.push(['vessel', form.getAttribute('data-vessel')]);
    return out;
  }
  function remember(form) {
    form.querySelectorAll('[data-remember]').forEach(function (el) {
      if (el.value) localStorage.setItem('shaftlog.' + el.getAttribute('data-remember'), el.value);
    });
  }
  function recall(box) {
    box.querySelectorAll('[data-remember]').forEach(function (el) {
      if (!el.value) el.value = localStorage.getItem('shaftlog.' + el.getAttribute('data-remember')) || '';
    });
  }
  function words(text) { return String(text).replace(/\bcm3\b/g, 'cm³'); }
  function tell(form, odd, faults, missing) {
    var box = form.querySelector('.look');
    box.textContent = '';
    form.querySelectorAll('.fault').forEach(function (x) { x.remove(); });
    faults.forEach(function (f) {
      var el = field(form, f.field), p = document.createElement('p');
      p.className = 'fault';
      p.textContent = words(f.fault);
      if (el && el.closest('label,fieldset')) el.closest('label,fieldset').insertAdjacentElement('afterend', p);
      else box.appendChild(p);
    });
    missing.forEach(function (name) {
      var el = field(form, name), p = document.createElement('p');
      p.className = 'fault';
      p.textContent = el && el.getAttribute && el.getAttribute('data-missing') || 'is still to be filled in';
      if (el && el.closest('label,fieldset')) el.closest('label,fieldset').insertAdjacentElement('afterend', p);
    });
    if (!odd.length) return;
    var head = document.createElement('p'), ul = document.createElement('ul');
    head.className = 'odd';
    head.textContent = 'Is that right?';
    odd.forEach(function (o) { var li = document.createElement('li'); li.textContent = words(o); ul.appendChild(li); });
    box.appendChild(head);
    box.appendChild(ul);
    var label = document.createElement('label'), input = document.createElement('input');
    label.textContent = 'If it is right: why (a remark, if you like)';
    input.name = 'right_remark';
    input.autocomplete = 'off';
    label.appendChild(input);
    box.appendChild(label);
  }
  function labelOf(form) {
    var title = document.querySelector('h1').textContent, main = form.querySelector('.number');
    var unit = form.querySelector('[name=unit]:checked + span');
    return title + (main && main.value ? ': ' + main.value + (unit ? ' ' + unit.textContent : '') : '');
  }
  /** A choice that must be made, or the first number of a form in which none was typed and one is wanted: a second tap
   * on a form just emptied. */
  function wanting(form) {
    var open = form.querySelector('select[data-missing]');
    if (open && !open.value) return open;
    var numbers = Array.prototype.slice.call(form.querySelectorAll('.number'));
    var typed = numbers.some(function (el) { return el.value.trim(); });
    return typed || form.querySelector('[name=ended][value=not_done]:checked') ? null : numbers[0] || null;
  }
  function keepLocally(form, fields, id, author) {
    wait(id, fields, labelOf(form), author);
    show();
  }

  /** What is expected, in the unit, gun and grease that are chosen. */
  function expect(form) {
    var data = new FormData(form);
    form.querySelectorAll('.known [data-unit]').forEach(function (e) {
      e.hidden = !['unit', 'gun', 'grease'].every(function (name) {
        return !e.hasAttribute('data-' + name) || e.getAttribute('data-' + name) === (data.get(name) || '');
      });
    });
  }

  /** A keypad of many countries has a comma and no point. */
  function point(e) {
    var el = e.target;
    if (!el.classList.contains('number') || !/^\s*\d*,\d*\s*$/.test(el.value)) return;
    var at = el.selectionStart;
    el.value = el.value.replace(',', '.');
    el.setSelectionRange(at, at);
  }

  function attach(form) {
    form.addEventListener('change', function () { expect(form); });
    window.addEventListener('pageshow', function () { expect(form); });  // a browser fills in again what was chosen
    expect(form);
    var asked = '', seen = '', timer = null, busy = false;
    var author = who;  // who is at it, whoever signs in beside
    var button = form.querySelector('button.go');
    token = token || (field(form, 'form_token') && field(form, 'form_token').value);
    // Without script the server's id would do; with it every sending of one entry has one of its own.
    field(form, 'id').value = newId();

    /** What will be sent: where no moment was typed, that of this device. */
    function withMoment(fields) {
      var when = field(form, 'at') || field(form, 'raised_at');
      return when && !when.value ? fields.concat(ownMoment(form, when.name)) : fields;
    }
    function look() {
      var fields = fieldsOf(form), key = encoded(fields.filter(function (f) { return f[0] !== 'id'; }));
      if (key === seen) return Promise.resolve();
      asked = key;
      return patient('/api/look', withMoment(fields)).then(function (a) {
        if (asked !== key || a[0] !== 200) return;
        seen = key;
        form.oddities = a[1].odd;
        tell(form, a[1].odd, a[1].faults, []);
        button.textContent = a[1].odd.length ? 'Keep it all the same' : 'Keep';
      });
    }
    form.addEventListener('input', function (e) {
      point(e);
      if (e.target.name === 'right_remark') return;
      clearTimeout(timer);
      timer = setTimeout(function () { look().catch(function () {}); }, 350);
    });
    form.addEventListener('submit', function (e) {
      e.preventDefault();
      if (busy) return;
      busy = true;
      clearTimeout(timer);
      remember(form);
      var id = field(form, 'id').value, wasOdd = (form.oddities || []).length > 0, before = seen;
      var fields = fieldsOf(form), key = encoded(fields.filter(function (f) { return f[0] !== 'id'; }));
      var right = field(form, 'right_remark');
      var all = withMoment(fields);
      var send = function () {
        if (right && right.value) all.push(['right_remark', right.value.trim()]);
        return patient('/api/records', all, author).then(function (a) {
          if (a[0] === 200 || a[0] === 201) {
            location.assign('/ship/' + encodeURIComponent(form.getAttribute('data-vessel')) + '?kept=' + a[1].record.id);
            return;
          }
          busy = false;
          if (a[0] >= 500 || a[0] === 429) throw because('server');
          tell(form, [], [{ field: '', fault: a[1].error || 'refused' }], []);
        }).catch(function (e) {
          var empty = wanting(form);
          if (empty) {
            busy = false;
            tell(form, [], [], [empty.name]);
            return;
          }
          isOver = e.why === 'session';
          keepLocally(form, all, id, author);
          form.reset();
          recall(form);
          expect(form);
          field(form, 'id').value = newId();
          form.oddities = [];
          seen = '';
          button.textContent = 'Keep';
          notice(form.querySelector('.look'), whyNotSent(e.why, author), e.why === 'session');
          busy = false;
        });
      };
      if (wasOdd && before === key) { send(); return; }  // it was said, and is meant
      patient('/api/look', all).then(function (a) {
        if (a[0] !== 200) { send(); return; }
        seen = key;
        form.oddities = a[1].odd;
        tell(form, a[1].odd, a[1].faults, a[1].missing);
        if (a[1].odd.length) button.textContent = 'Keep it all the same';
        if (a[1].odd.length || a[1].faults.length || a[1].missing.length) { busy = false; return; }
        send();
      }).catch(function () { return send(); });
    });
  }

  // --- hours of all shafts -----------------------------------------------------------------------------------------
  function attachMany(form) {
    token = token || (field(form, 'form_token') && field(form, 'form_token').value);
    form.querySelectorAll('.row').forEach(function (row) { row.querySelector('[type=hidden]').value = newId(); });
    var busy = false, timers = {};
    var vessel = form.getAttribute('data-vessel'), author = who;
    var foot = form.querySelector('.foot'), button = form.querySelector('button.go'), keptWords = button.textContent;
    function numberOf(row) { return row.querySelector('.number').value.trim(); }
    function all(what) { return Array.prototype.slice.call(form.querySelectorAll(what)); }
    // What is under the bar at the foot of the screen is not read: it moves above it.
    function uncover(el) {
      var over = el.getBoundingClientRect().bottom + 8 - foot.getBoundingClientRect().top;
      if (over > 0) window.scrollBy(0, over);
      if (el.getBoundingClientRect().top < 0) window.scrollBy(0, el.getBoundingClientRect().top - 8);
    }
    function isInSight(el) {
      var r = el.getBoundingClientRect();
      return r.height > 0 && r.top >= 0 && r.bottom <= foot.getBoundingClientRect().top + 1;
    }
    var kGlance = 300;  // ms: a second tap comes sooner than a warning is read
    /** Remembers which warnings have been in sight, and says on the button what a press keeps. */
    function note() {
      var odd = all('.row[data-said]'), typed = all('.row').filter(numberOf).length, n = odd.length;
      odd.forEach(function (row) {
        var says = row.querySelector('.odd'), said = row.getAttribute('data-said');
        if (row.hasAttribute('data-seen') || !isInSight(says)) return;
        setTimeout(function () {
          if (row.getAttribute('data-said') === said && isInSight(says)) row.setAttribute('data-seen', '');
        }, kGlance);
      });
      button.textContent = !n ? keptWords
        : n === typed ? 'Keep ' + n + ' odd reading' + (n === 1 ? '' : 's')
          : 'Keep ' + typed + ' readings, ' + n + ' of them odd';
    }
    function unsay(row) {
      row.removeAttribute('data-said');
      row.removeAttribute('data-seen');
    }
    window.addEventListener('scroll', note, { passive: true });
    window.addEventListener('resize', note);
    function fieldsOfRow(row) {
      var by = field(form, 'by'), typed = field(form, 'at').value.trim();
      var fields = [['kind', 'hours'], ['vessel', vessel], ['shaft', row.getAttribute('data-shaft')],
        ['meter_h', numberOf(row)], ['id', row.querySelector('[type=hidden]').value]];
      fields = fields.concat(typed ? [['at', typed]] : ownMoment(form, 'at'));
      if (by && by.value) fields.push(['by', by.value.trim()]);
      return fields;
    }
    // Says what is wrong or odd about a row; resolves to whether it may be sent at once. What was said once is meant.
    function lookAt(row, fields) {
      var number = numberOf(row), says = row.querySelector('.odd');
      return patient('/api/look', fields).then(function (a) {
        if (numberOf(row) !== number) return false;
        var faults = a[0] === 200 ? a[1].faults.map(function (f) { return f.fault; }) : [], odd = a[0] === 200 ? a[1].odd : [];
        var wrong = faults.concat(odd);
        says.textContent = wrong.length ? words(wrong.join('; ')) + (faults.length ? '' : '. Press the button if it is right.') : '';
        if (odd.length && !faults.length) row.setAttribute('data-said', number); else unsay(row);
        if (wrong.length) uncover(says);
        // The warning has pushed what is below it down.
        var at = document.activeElement;
        if (at && form.contains(at) && at.closest('.row')) uncover(at);
        note();
        return !wrong.length;
      });
    }
    form.addEventListener('input', function (e) {
      point(e);
      var row = e.target.closest('.row'), shaft = row && row.getAttribute('data-shaft');
      if (!row || !e.target.classList.contains('number')) return;
      clearTimeout(timers[shaft]);
      unsay(row);
      note();
      if (!numberOf(row)) { row.querySelector('.odd').textContent = ''; return; }
      timers[shaft] = setTimeout(function () {
        if (!busy) lookAt(row, fieldsOfRow(row)).catch(function () {});
      }, 350);
    });
    form.addEventListener('submit', function (e) {
      e.preventDefault();
      if (busy) return;
      note();
      var unseen = all('.row[data-said]:not([data-seen])')[0];
      if (unseen) {
        uncover(unseen.querySelector('.odd'));
        note();
        return;
      }
      busy = true;
      Object.keys(timers).forEach(function (k) { clearTimeout(timers[k]); });
      remember(form);
      var rows = Array.prototype.filter.call(form.querySelectorAll('.row'), numberOf);
      var kept = 0, left = 0;
      var step = function (i) {
        if (i >= rows.length) return Promise.resolve();
        var row = rows[i], says = row.querySelector('.odd'), fields = fieldsOfRow(row);
        var send = function () {
          return patient('/api/records', fields, author).then(function (a) {
            if (a[0] >= 500 || a[0] === 429) throw because('server');
            if (a[0] !== 200 && a[0] !== 201) { says.textContent = a[1].error; left++; return; }
            kept++;
            row.remove();
          }).catch(function (e) {
            isOver = e.why === 'session';
            wait(fields[4][1], fields, 'Hours ' + fields[2][1] + ': ' + fields[3][1], author);
            row.remove();
          });
        };
        var meant = row.getAttribute('data-said') === numberOf(row);
        return (meant ? send() : lookAt(row, fields).then(function (good) {
          if (good) return send();
          left++;
        }, send)).then(function () { return step(i + 1); });
      };
      step(0).then(function () {
        busy = false;
        show();
        var odd = all('.row[data-said]')[0];
        if (odd) uncover(odd.querySelector('.odd'));
        note();
        if (!left && kept) location.assign('/ship/' + encodeURIComponent(vessel) + '?hours=' + kept);
      });
    });
  }

  // --- forms that are sent as such: a correction, a note on a finding ------------------------------------------------
  // Before it goes the server is asked for today's token. Where the session is over nothing goes, and what was typed
  // is shown again when the same account comes back to the page.
  var kTyped = 'shaftlog.typed.';
  function attachPlain(form) {
    var author = who, key = kTyped + form.getAttribute('action'), isAsked = false, box = document.createElement('p');
    box.className = 'fault';
    box.setAttribute('role', 'alert');
    box.hidden = true;
    form.appendChild(box);
    function inputs() {
      return Array.prototype.filter.call(form.elements, function (el) { return el.name && el.type !== 'hidden' && el.tagName !== 'BUTTON'; });
    }
    try {
      var kept = JSON.parse(localStorage.getItem(key));
      if (kept && kept.who === who) {
        inputs().forEach(function (el) {
          kept.typed.forEach(function (f) {
            if (f[0] !== el.name) return;
            if (el.type === 'radio') el.checked = el.value === f[1]; else el.value = f[1];
          });
        });
        localStorage.removeItem(key);
        notice(box, 'Not kept yet: what was typed before the session was over stands here again.', false);
        box.hidden = false;
        var more = form.querySelector('details');
        if (more) more.open = true;
      }
    } catch (e) { localStorage.removeItem(key); }
    function hold(e) {
      box.hidden = false;
      if (e.why !== 'session' && e.why !== 'account') {
        notice(box, 'The server does not answer. Nothing was kept; what is typed stands here. Try again.', false);
        return;
      }
      var typed = inputs().filter(function (el) { return el.type !== 'radio' || el.checked; }).map(function (el) { return [el.name, el.value]; });
      localStorage.setItem(key, JSON.stringify({ who: author, typed: typed }));
      notice(box, e.why === 'session'
        ? 'The session is over. Nothing was kept yet; what is typed is shown here again when ' + named(author) + ' has signed in.'
        : 'Another account is signed in here now: ' + named(who) + '. Nothing was kept; what is typed is shown here again to ' + named(author) + '.',
        e.why === 'session');
    }
    form.addEventListener('submit', function (e) {
      if (isAsked) return;
      e.preventDefault();
      var by = e.submitter;
      renewToken().then(function () {
        if (!isOurs(author)) throw because('account');
        field(form, 'form_token').value = token;
        isAsked = true;
        form.requestSubmit(by || undefined);
        isAsked = false;
      }).catch(hold);
    });
  }

  recall(document);
  document.querySelectorAll('form[data-correction], form[data-plain]').forEach(attachPlain);
  document.querySelectorAll('form[data-entry]:not([data-correction])').forEach(attach);
  document.querySelectorAll('form[data-many]').forEach(attachMany);
  window.addEventListener('online', function () { sendAll(true); });
  window.addEventListener('storage', show);  // another tab has sent, or could not
  setInterval(function () { if (read().length) sendAll(); }, 8000);
  show();
  sendAll(true);
})();
