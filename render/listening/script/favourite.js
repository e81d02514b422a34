// Which one is liked best, in few questions: each meets the best so far; then the winner meets the
// others once more, in an order by lot, and is the favourite only if it is liked better nearly
// every time. Who only guesses, or always says "the second", gets one in a run of sixteen.
export const CHECKS = 7;
export const NEEDED = 6;

// Chance of at least this many right answers of so many, each by itself right with a chance.
export function atLeast(right, total, chance = 0.5) {
  let term = (1 - chance) ** total, sum = 0;
  for (let k = 0; k <= total; k += 1) {
    if (k >= right) sum += term;
    term *= ((total - k) / (k + 1)) * (chance / (1 - chance));
  }
  return Math.min(1, sum);
}
export const byChance = atLeast(NEEDED, CHECKS);

// `random(n)` gives a whole number below n.
export function makeContest(order, saved, random) {
  const all = saved || { order, best: order[0], next: 1, answers: [], beaten: [], checks: 0,
    agreed: 0, swapped: false, over: order.length < 2 };
  const checking = () => all.next === all.order.length;
  return {
    state: all,
    over: () => all.over,
    // Who meets whom.
    pair() {
      // Those it beat last are the nearest to it.
      const { beaten } = all, again = beaten[beaten.length - 1 - (all.checks % beaten.length)];
      const two = checking() ? [all.best, again] : [all.best, all.order[all.next]];
      return all.swapped ? [two[1], two[0]] : two;
    },
    questions: all.order.length - 1 + CHECKS,
    // 0 for the first, 1 for the second, null for neither.
    answer(which) {
      const [first, second] = this.pair(), liked = which === null ? null : [first, second][which];
      all.answers.push({ first, second, preferred: liked });
      if (checking()) {
        all.checks += 1;
        if (liked === all.best) all.agreed += 1;
        // It is over as soon as it is settled.
        all.over = all.agreed === NEEDED || all.checks - all.agreed > CHECKS - NEEDED;
      } else {
        const other = all.order[all.next];
        all.beaten.push(liked === other ? all.best : other);
        if (liked === other) all.best = other;
        all.next += 1;
      }
      all.swapped = random(2) === 1;
    },
    // Once it is over: who it is, whether it was liked better nearly every time, and who was as
    // good.
    result() {
      return {
        best: all.best, rival: all.beaten[all.beaten.length - 1], again: all.agreed >= NEEDED,
        agreed: all.agreed, checks: all.checks,
        equals: all.answers.filter((a) => a.preferred === null && (
          a.first === all.best || a.second === all.best)).map(
            (a) => (a.first === all.best ? a.second : a.first)).filter(
              (d, i, list) => list.indexOf(d) === i),
      };
    },
  };
}
