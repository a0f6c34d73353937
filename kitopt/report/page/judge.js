"use strict";
// The judge of the page: the same recursion as the planner's, walked over the bytes that the page carries.
const TOLERANCE_WH = 1e-5;
const SURENESS = [0.5, 0.7, 0.8, 0.85, 0.9, 0.93, 0.95, 0.97, 0.98, 0.99, 0.995];
const LOST_SHARE = 0.05, ALARMED_SHARE = 0.2, AIM_SHARE = 0.6, ROUNDS = 2;

function bytesOf(base64) {
  return Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0));
}

class Judge {
  constructor(data) {
    this.data = data;
    this.n = data.n;
    this.steps = data.step_h.length;
    const { interval, lit } = data, gains = bytesOf(data.gains);
    this.intervals = interval[this.steps - 1] + 1;
    const length_h = new Float64Array(this.intervals);
    interval.forEach((i, t) => { length_h[i] += data.step_h[t]; });
    this.watts = new Float64Array(this.n * this.intervals);
    for (let k = 0; k < this.n; k++) {
      lit.forEach((i, j) => {
        this.watts[k * this.intervals + i] = gains[k * lit.length + j] * data.unit_wh / length_h[i];
      });
    }
    this.marked = [];
    for (let i = 0; i < data.marks.length; i += 2) {
      for (let j = 0; j < data.marks[i + 1]; j++) this.marked.push(data.marks[i]);
    }
    this.held_wh = this.held(bytesOf(data.cold));
  }

  // What is held back in each interval, the reserve and what the cold locks away; one row where all are alike. [Wh]
  held(cold) {
    const { cold_every, cold_low, cold_step, held_wh, full_wh } = this.data, last = this.intervals - 1;
    const knots = Math.ceil(last / cold_every) + 1, rows = cold.length / knots, found = [];
    const share = (row, knot) => cold_low + cold[row * knots + knot] * cold_step;
    for (let row = 0; row < rows; row++) {
      for (let i = 0; i <= last; i++) {
        const knot = Math.floor(i / cold_every), before = knot * cold_every;
        const after = Math.min(before + cold_every, last), part = after > before ? (i - before) / (after - before) : 0;
        const low = share(row, knot), left = part > 0 ? low + part * (share(row, knot + 1) - low) : low;
        found.push(held_wh + (1 - left) * full_wh);
      }
    }
    return Float64Array.from(found);
  }

  heldAt(k, t) {
    return this.held_wh[(this.held_wh.length > this.intervals ? k * this.intervals : 0) + this.data.interval[t]];
  }

  // 1 where the cells may be charged, 2 more where they give anything.
  marks(k, t) {
    const { length } = this.marked;
    return this.marked[(length > this.intervals ? k * this.intervals : 0) + this.data.interval[t]];
  }

  out(watts) {
    const { rated_w, peukert, discharge_efficiency } = this.data;
    const ratio = peukert === 1 ? 0 : Math.min(watts / Math.max(rated_w, 1e-12), 100);
    return (ratio > 1 ? watts * ratio ** (peukert - 1) : watts) / discharge_efficiency;
  }

  net(k, t, demand) {
    return this.watts[k * this.intervals + this.data.interval[t]] - demand[t];
  }

  stored(net, t, marks) {
    const { limit_w, charge_efficiency, discharge_efficiency, step_h } = this.data;
    const draining = net < 0 ? -this.out(-net) : net / discharge_efficiency;
    const taken = limit_w === null ? net : Math.min(net, limit_w);
    return Math.min(draining, marks & 1 ? charge_efficiency * taken : 0) * step_h[t];
  }

  // The charge that each spell asks for at the start of some step; infinite where none suffices. [Wh]
  needs(demand, from) {
    const { full_wh, taper_h, interval, step_h } = this.data;
    const found = new Float64Array(this.n);
    for (let k = 0; k < this.n; k++) {
      let after = 0, within = 0, least = 0;
      for (let t = this.steps - 1; t >= from; t--) {
        if (t === this.steps - 1 || interval[t + 1] !== interval[t]) { after = least; within = 0; }
        const marks = this.marks(k, t), net = this.net(k, t, demand);
        let before = after - this.stored(net, t, marks);
        if (taper_h !== null) {
          const kept = Math.exp(-step_h[t] / taper_h);
          before = Math.max(before, (after - (1 - kept) * full_wh) / kept);
        }
        after = after > full_wh + TOLERANCE_WH ? Infinity : before;
        const isDark = !(marks & 2) && net * step_h[t] < -TOLERANCE_WH;
        within = isDark ? Infinity : this.out(demand[t]) * step_h[t] + Math.max(within, this.heldAt(k, t));
        least = Math.max(within, after);
      }
      found[k] = least > full_wh + TOLERANCE_WH ? Infinity : least;
    }
    return found;
  }

  // From a charge on: each spell's margin, the step in which it fails, and its charge at the start of some steps. [Wh]
  walk(demand, from, start_wh, at = []) {
    const { full_wh, taper_h, interval, step_h } = this.data;
    const margin = new Float64Array(this.n).fill(Infinity), fails = new Int32Array(this.n).fill(this.steps);
    const charge = at.map(() => new Float64Array(this.n));
    for (let k = 0; k < this.n; k++) {
      let now = start_wh, low = start_wh;
      for (let t = from, i = 0; t < this.steps; t++) {
        if (at[i] === t) charge[i++][k] = now;
        if (t === from || interval[t - 1] !== interval[t]) low = now;
        const marks = this.marks(k, t), net = this.net(k, t, demand);
        low -= this.out(demand[t]) * step_h[t];
        let free = low - this.heldAt(k, t);
        if (!(marks & 2)) free = Math.min(free, net * step_h[t]);
        if (free < -TOLERANCE_WH && fails[k] === this.steps) fails[k] = t;
        if (free < margin[k]) margin[k] = free;
        const full = now + this.stored(net, t, marks);
        if (taper_h === null) now = Math.min(full_wh, full);
        else {
          const kept = Math.exp(-step_h[t] / taper_h);
          now = Math.min(full, kept * now + (1 - kept) * full_wh);
        }
      }
    }
    return { margin, fails, charge };
  }

  // How many spells last, and the step in which more have failed than may; none where it lasts.
  fares(demand, from, start_wh) {
    const { margin, fails } = this.walk(demand, from, start_wh);
    const survived = margin.filter((one) => one >= -TOLERANCE_WH).length;
    const lost = Array.from(fails).sort((a, b) => a - b)[this.n - this.data.needed];
    return { survived, median: median(margin), until: lost === undefined || lost >= this.steps ? null : lost };
  }

  // Trip-wires: the least charge at the start of some steps, below which the change is made [Wh]; and whether there is
  // nothing to wait for, since no spell is saved any more, or none without the change at once.
  limits(demand, changed, from, start_wh, wires) {
    const { full_wh } = this.data;
    const since = (step) => demand.map((watts, t) => (t >= step ? changed[t] : watts));
    const never = this.steps + 1;
    const asked = wires.map((wire, i) => this.needs(since(wires[i + 1] ?? never), wire).sort());
    const table = SURENESS.map((sure) => asked.map((one) => Math.min(one[Math.ceil((this.n - 1) * sure)], full_wh)));
    const plain = this.walk(demand, from, start_wh, wires);
    const margins = [...wires.map((wire) => this.walk(since(wire), from, start_wh).margin), plain.margin];
    const atOnce = this.walk(changed, from, start_wh).margin;
    const isWell = (margin) => margin >= -TOLERANCE_WH;
    const worth = (sure) => {
      let savable = 0, lost = 0, lasting = 0, alarmed = 0;
      for (let k = 0; k < this.n; k++) {
        const tripped = wires.findIndex((_, i) => plain.charge[i][k] < table[sure[i]][i]);
        const survives = isWell(margins[tripped < 0 ? wires.length : tripped][k]);
        if (isWell(plain.margin[k])) { lasting++; alarmed += tripped >= 0; }
        else if (isWell(atOnce[k])) { savable++; lost += !survives; }
      }
      const share = savable ? lost / savable / (AIM_SHARE * LOST_SHARE) : 0;
      const vain = lasting ? alarmed / lasting / ALARMED_SHARE : 0;
      return [Math.max(share, vain, 1), share + 0.1 * vain];
    };
    let best = null, least = [Infinity, Infinity];
    const tried = (sure) => {
      const found = worth(sure);
      if (found[0] < least[0] || (found[0] === least[0] && found[1] < least[1])) { best = sure; least = found; }
    };
    SURENESS.forEach((_, level) => tried(wires.map(() => level)));
    for (let round = 0; round < ROUNDS; round++) {
      wires.forEach((_, i) => {
        const base = best;
        SURENESS.forEach((_sure, level) => tried(base.map((one, j) => (i === j ? level : one))));
      });
    }
    const limits = wires.map((_, i) => table[best[i]][i]);
    const lasts = plain.margin.some(isWell), savable = atOnce.filter((one, k) => isWell(one) && !isWell(plain.margin[k]));
    return {
      limits, savable: savable.length, isHopeless: !lasts && !savable.length,
      isAtOnce: !lasts && start_wh < limits[0] && plain.charge[0].every((one) => one < limits[0]),
    };
  }
}

function median(values) {
  const sorted = Float64Array.from(values).sort(), middle = sorted.length >> 1;
  return sorted.length % 2 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2;
}

// What is said of the state now.
class Outlook {
  constructor(data) {
    this.data = data;
    this.judge = new Judge(data);
    this.edges = [0];
    data.step_h.forEach((h) => this.edges.push(this.edges[this.edges.length - 1] + h));
  }

  // The first step of the interval of weather in which a moment lies, which counts whole.
  stepAt(hour) {
    const { interval } = this.data;
    let step = 0;
    while (step + 1 < interval.length && this.edges[step + 1] <= hour + 1e-9) step++;
    while (step > 0 && interval[step - 1] === interval[step]) step--;
    return step;
  }

  demand(chosen) {
    return this.data.demand_w.map((watts, t) =>
      Math.max(0, chosen.reduce((sum, way) => sum + this.data.ways[way].more_w[t], watts)));
  }

  // Full hours of the clock, or parts of them or several, at most twelve.
  wireSteps(from) {
    let steps = [];
    for (const every of [1 / 12, 0.25, 0.5, 1, 2, 3, 4, 6, 8, 12, 24, 48]) {
      const cell = (t) => Math.floor((this.data.clock_h + this.edges[t]) / every + 1e-6);
      steps = [];
      for (let t = from + 1; t < this.judge.steps; t++) if (cell(t) !== cell(t - 1)) steps.push(t);
      if (steps.length <= 12) break;
    }
    return steps.length ? steps : [Math.max(from + 1, (from + this.judge.steps) >> 1)];
  }

  // The change of loads that saves most, with all that is nice off besides.
  action(chosen, from, start_wh) {
    const { ways } = this.data;
    const isUsed = new Set(chosen.map((way) => ways[way].place));
    const free = ways.map((_, i) => i).filter((i) => !isUsed.has(ways[i].place) && !(ways[i].is_off && !ways[i].nice));
    const off = free.filter((i) => ways[i].is_off && ways[i].nice);
    const gone = new Set(off.map((i) => ways[i].place));
    const medianOf = (some) => this.judge.fares(this.demand(some), from, start_wh).median;
    const before = medianOf(chosen);
    let best = null, most = 0.01;
    for (const i of free) {
      if (gone.has(ways[i].place)) continue;
      const saved = medianOf([...chosen, i]) - before;
      if (saved > most) { best = i; most = saved; }
    }
    if (best !== null) return [best, ...off];
    if (off.length) return off;
    return ways.map((_, i) => i).filter((i) => ways[i].is_off && !isUsed.has(ways[i].place)).slice(-1);
  }

  now(left_wh, hour, chosen = []) {
    const from = this.stepAt(hour), demand = this.demand(chosen), { ways } = this.data;
    const fares = this.judge.fares(demand, from, left_wh);
    const isUsed = new Set(chosen.map((way) => ways[way].place));
    const others = ways.map((_, i) => i).filter((i) => !isUsed.has(ways[i].place))
      .map((way) => ({ way, ...this.judge.fares(this.demand([...chosen, way]), from, left_wh) }));
    const action = this.action(chosen, from, left_wh), wires = this.wireSteps(from);
    const wired = wires.length && wires[0] < this.judge.steps
      ? this.judge.limits(demand, this.demand([...chosen, ...action]), from, left_wh, wires) : { limits: [] };
    return { from, ...fares, others, action, ...wired, wires: wired.limits.map((limit, i) => ({ step: wires[i], limit })) };
  }

  // Amperes that a panel should give, between the whole hours along a line. [A]
  expected(panel, sky, way, hour) {
    const at = this.data.panel_h, amps = this.data.panels[panel].amps[sky][way];
    if (hour <= at[0]) return amps[0];
    for (let i = 1; i < at.length; i++) {
      if (hour <= at[i]) return amps[i - 1] + (amps[i] - amps[i - 1]) * (hour - at[i - 1]) / (at[i] - at[i - 1]);
    }
    return amps[amps.length - 1];
  }
}
