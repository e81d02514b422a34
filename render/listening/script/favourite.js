// Which one is liked best, in few questions: each meets the best so far, and the winner meets the
// last it beat once more, the other way round.
export function makeContest(order, saved) {
  const all = saved || { order, best: order[0], next: 1, answers: [], rival: null, check: false,
    over: order.length < 2 };
  return {
    state: all,
    over: () => all.over,
    // Who meets whom: the best so far is heard first but for the last time.
    pair: () => (all.check ? [all.rival, all.best] : [all.best, all.order[all.next]]),
    questions: all.order.length,
    // 0 for the first, 1 for the second, null for neither.
    answer(which) {
      const [first, second] = this.pair();
      all.answers.push({ first, second, preferred: which === null ? null
        : [first, second][which] });
      if (all.check) { all.over = true; return; }
      all.rival = which === 1 ? first : second;
      if (which === 1) all.best = second;
      all.next += 1;
      if (all.next === all.order.length) all.check = true;
    },
    // Once it is over: who it is, whether it was preferred again, and who was as good.
    result() {
      const last = all.answers[all.answers.length - 1];
      return {
        best: all.best, rival: all.rival, again: last.preferred === all.best,
        equals: all.answers.filter((a) => a.preferred === null && (
          a.first === all.best || a.second === all.best)).map(
            (a) => (a.first === all.best ? a.second : a.first)).filter(
              (d, i, list) => list.indexOf(d) === i),
      };
    },
  };
}
