/* Junction voltages that agree with the circuit round them, by a guarded Newton method.

   The circuit round the junctions is v = u + K j(v): what they would see without their currents,
   and what those currents do. A step of Newton's method is held back where a junction's
   exponential would run away (Nagel, SPICE2, ERL-M520, 1975: the limiting of junction voltages).
   Once a step is short, what it left is known to the second order without another exponential,
   and taken away by the same factors: Chebyshev's method (Traub, Iterative Methods for the
   Solution of Equations, 1964, section 5.2), whose error goes by the third power of the step.
   Where that does not converge, u is approached from the last solution in steps that are halved
   until it does (continuation, as in Holmes and van Walstijn, DAFx-15).

   An Early current, -(j_be - j_bc) v_bc / V_A, stands behind all junctions as if it were one more,
   across which no voltage lies.

   Junctions come four by four, `groups` of them; those that are not there carry no current. */

#pragma once
#include "four.h"

enum { MOST_GROUPS = 2, MOST_JUNCTIONS = 4 * MOST_GROUPS, MOST_ITERATIONS = 40 };
enum { MOST_EARLIES = 2 };
/* Such a step, over all junctions, leaves the currents right to -130 dB. */
#define CLOSE_VOLTS 3e-4
#define SMALLEST_STEP 1e-6
/* Whatever carries less at no voltage is not there. */
#define NO_AMPERES 1e-290
/* Of a junction beyond its critical voltage in one step, in slopes: seven times the current. */
#define FAR 2.0

typedef struct {
    Four saturation[MOST_GROUPS], per_volt[MOST_GROUPS], critical[MOST_GROUPS];
    Four feedback[MOST_JUNCTIONS][MOST_GROUPS]; /* K by columns */
    Four open[MOST_GROUPS];                     /* u */
    Four volts[MOST_GROUPS], currents[MOST_GROUPS];
    Four last[MOST_GROUPS], before[MOST_GROUPS], earlier[MOST_GROUPS]; /* solutions */
    int there;                           /* so many are junctions */
    int earlies, early[MOST_EARLIES];    /* how many Early currents, and where */
    int emitter[MOST_EARLIES];           /* of their transistors, the collector's is the next */
    double share[MOST_EARLIES];          /* 1 / V_A */
    double by_emitter[MOST_EARLIES], by_collector[MOST_EARLIES]; /* slopes */
} Junctions;

INLINE double lane(const Four *of, int k)
{
    return of[k / 4][k % 4];
}

/* Of rows saturation, slopes a volt, critical voltage, 1 / V_A (0 of what is no Early current) and
   where that one's transistor stands, as long as there are junctions. */
INLINE void take_kinds(Junctions *at, const double *kinds, const int groups)
{
    for (int g = 0; g < groups; g++) {
        at->saturation[g] = four_at(kinds + 4 * g);
        at->per_volt[g] = four_at(kinds + 4 * (groups + g));
        at->critical[g] = four_at(kinds + 4 * (2 * groups + g));
    }
    at->there = 4 * groups;
    while (at->there > 1 && kinds[at->there - 1] < NO_AMPERES)
        at->there--;
    for (int k = at->there; k < 4 * groups; k++)
        if (kinds[12 * groups + k] > 0.0 && at->earlies < MOST_EARLIES) {
            at->share[at->earlies] = kinds[12 * groups + k];
            at->emitter[at->earlies] = (int)kinds[16 * groups + k];
            at->early[at->earlies++] = k;
        }
}

/* The last three solutions, newest first, from where they are kept and back. */
INLINE void take_solutions(Junctions *at, const double *kept, const int groups)
{
    for (int g = 0; g < groups; g++) {
        at->last[g] = four_at(kept + 4 * g);
        at->before[g] = four_at(kept + 4 * (groups + g));
        at->earlier[g] = four_at(kept + 4 * (2 * groups + g));
    }
}

INLINE void keep_solutions(const Junctions *at, double *kept, const int groups)
{
    for (int g = 0; g < groups; g++) {
        four_to(kept + 4 * g, at->last[g]);
        four_to(kept + 4 * (groups + g), at->before[g]);
        four_to(kept + 4 * (2 * groups + g), at->earlier[g]);
    }
}

/* The Early currents at these voltages and currents of junctions. */
static __attribute__((noinline)) void add_earlies(const Junctions *at, const Four *volts,
                                                  Four *currents)
{
    for (int i = 0; i < at->earlies; i++) {
        const int k = at->early[i], e = at->emitter[i];
        currents[k / 4][k % 4] =
            -(lane(currents, e) - lane(currents, e + 1)) * lane(volts, e + 1) * at->share[i];
    }
}

/* And how they go with the voltage of either junction. */
static __attribute__((noinline)) void early_slopes(Junctions *at, const Four *siemens)
{
    for (int i = 0; i < at->earlies; i++) {
        const int e = at->emitter[i];
        const double volts = lane(at->volts, e + 1) * at->share[i];
        const double carried = lane(at->currents, e) - lane(at->currents, e + 1);
        at->by_emitter[i] = -lane(siemens, e) * volts;
        at->by_collector[i] = lane(siemens, e + 1) * volts - carried * at->share[i];
    }
}

/* What a step leaves of them to the second order, beside what it leaves of the others. */
static __attribute__((noinline)) void early_bends(const Junctions *at, const Four *siemens,
                                                  const Four *change, Four *bend)
{
    for (int i = 0; i < at->earlies; i++) {
        const int k = at->early[i], e = at->emitter[i];
        const double moved = lane(change, e + 1), volts = lane(at->volts, e + 1) - moved;
        const double bent = lane(bend, e) - lane(bend, e + 1);
        const double carried = lane(siemens, e) * lane(change, e) - lane(siemens, e + 1) * moved;
        bend[k / 4][k % 4] = -at->share[i] * (bent * volts + carried * moved);
    }
}

/* I - K diag(siemens), factored: two blocks of two for up to four junctions, else row by row. Without
   pivoting, since each upper block is the circuit with the other junctions taken out, which has
   one solution at all slopes. */
typedef struct {
    double at[MOST_JUNCTIONS][MOST_JUNCTIONS];
    double a, b, c, d, x00, x01, x10, x11, y00, y01, y10, y11;
} Factors;

INLINE int few(const Junctions *at, const int groups)
{
    return groups == 1 || at->there <= 4;
}

INLINE void factor(const Junctions *at, const Four *siemens, Factors *f, const int groups)
{
    const int p = few(at, groups) ? 4 : at->there;
    for (int j = 0; j < p; j++)
        for (int i = 0; i < p; i++)
            f->at[i][j] = (i == j) - at->feedback[j][i / 4][i % 4] * siemens[j / 4][j % 4];
    for (int n = 0; n < at->earlies; n++) {
        const int k = at->early[n], e = at->emitter[n];
        for (int i = 0; i < p; i++) {
            f->at[i][e] -= lane(at->feedback[k], i) * at->by_emitter[n];
            f->at[i][e + 1] -= lane(at->feedback[k], i) * at->by_collector[n];
        }
    }
    if (!few(at, groups)) {
        for (int k = 0; k < p; k++) {
            f->at[k][k] = 1.0 / f->at[k][k];
            for (int i = k + 1; i < p; i++) {
                f->at[i][k] *= f->at[k][k];
                for (int j = k + 1; j < p; j++)
                    f->at[i][j] -= f->at[i][k] * f->at[k][j];
            }
        }
        return;
    }
    double inverse = 1.0 / (f->at[0][0] * f->at[1][1] - f->at[0][1] * f->at[1][0]);
    f->a = inverse * f->at[1][1], f->b = -inverse * f->at[0][1];
    f->c = -inverse * f->at[1][0], f->d = inverse * f->at[0][0];
    f->x00 = f->a * f->at[0][2] + f->b * f->at[1][2];
    f->x01 = f->a * f->at[0][3] + f->b * f->at[1][3];
    f->x10 = f->c * f->at[0][2] + f->d * f->at[1][2];
    f->x11 = f->c * f->at[0][3] + f->d * f->at[1][3];
    const double s00 = f->at[2][2] - f->at[2][0] * f->x00 - f->at[2][1] * f->x10;
    const double s01 = f->at[2][3] - f->at[2][0] * f->x01 - f->at[2][1] * f->x11;
    const double s10 = f->at[3][2] - f->at[3][0] * f->x00 - f->at[3][1] * f->x10;
    const double s11 = f->at[3][3] - f->at[3][0] * f->x01 - f->at[3][1] * f->x11;
    inverse = 1.0 / (s00 * s11 - s01 * s10);
    f->y00 = inverse * s11, f->y01 = -inverse * s01;
    f->y10 = -inverse * s10, f->y11 = inverse * s00;
}

/* What solves the factored equations for these right sides, in their place. */
INLINE void solved(const Junctions *at, const Factors *f, Four *right, const int groups)
{
    if (few(at, groups)) {
        const Four r = right[0];
        const double y0 = f->a * r[0] + f->b * r[1], y1 = f->c * r[0] + f->d * r[1];
        const double r2 = r[2] - f->at[2][0] * y0 - f->at[2][1] * y1;
        const double r3 = r[3] - f->at[3][0] * y0 - f->at[3][1] * y1;
        const double z2 = f->y00 * r2 + f->y01 * r3, z3 = f->y10 * r2 + f->y11 * r3;
        right[0] = (Four){y0 - f->x00 * z2 - f->x01 * z3, y1 - f->x10 * z2 - f->x11 * z3, z2, z3};
        return;
    }
    double x[MOST_JUNCTIONS];
    memcpy(x, right, sizeof x);
    for (int i = 0; i < at->there; i++)
        for (int j = 0; j < i; j++)
            x[i] -= f->at[i][j] * x[j];
    for (int i = at->there - 1; i >= 0; i--) {
        for (int j = i + 1; j < at->there; j++)
            x[i] -= f->at[i][j] * x[j];
        x[i] *= f->at[i][i];
    }
    memcpy(right, x, sizeof x);
}

/* K times these currents, added. */
INLINE void fed_back(const Junctions *at, const Four *currents, Four *sum, const int groups)
{
    for (int g = 0; g < groups; g++) {
        Four even = sum[g], odd = four_of(0.0);
        for (int j = 0; j < 4 * groups; j += 2) {
            even += at->feedback[j][g] * currents[j / 4][j % 4];
            odd += at->feedback[j + 1][g] * currents[j / 4][j % 4 + 1];
        }
        sum[g] = even + odd;
    }
}

/* Steps that lead far beyond the critical voltage: to there, or on by so much. */
INLINE Four held_back(Four volts, Four step, Four per_volt, Four critical)
{
    const Mask far = (volts + step > critical) & (four_abs(step) * per_volt > four_of(FAR));
    const Four onward = four_if(step > four_of(0.0), FAR / per_volt, step);
    return four_if(far, four_if(volts <= four_of(0.0), critical - volts, onward), step);
}

/* From where the voltages stand; whether it converged. */
INLINE int newton(Junctions *at, const int groups)
{
    for (int iteration = 0; iteration < MOST_ITERATIONS; iteration++) {
        Four siemens[MOST_GROUPS], change[MOST_GROUPS], bend[MOST_GROUPS], left[MOST_GROUPS];
        Factors factors;
        double moved = 0.0;
        for (int g = 0; g < groups; g++) {
            const Four growing = at->saturation[g] * four_exp(at->volts[g] * at->per_volt[g]);
            at->currents[g] = growing - at->saturation[g];
            siemens[g] = growing * at->per_volt[g];
            change[g] = at->open[g] - at->volts[g];
        }
        if (at->earlies) {
            add_earlies(at, at->volts, at->currents);
            early_slopes(at, siemens);
        }
        factor(at, siemens, &factors, groups);
        fed_back(at, at->currents, change, groups);
        solved(at, &factors, change, groups);
        for (int g = 0; g < groups; g++) {
            change[g] = held_back(at->volts[g], change[g], at->per_volt[g], at->critical[g]);
            moved += four_sum(four_abs(change[g]));
            at->volts[g] += change[g];
        }
        if (!(moved < 1e300))
            return 0;
        if (moved < CLOSE_VOLTS) {
            for (int g = 0; g < groups; g++) {
                bend[g] = 0.5 * siemens[g] * at->per_volt[g] * change[g] * change[g];
                left[g] = four_of(0.0);
            }
            if (at->earlies)
                early_bends(at, siemens, change, bend);
            fed_back(at, bend, left, groups);
            solved(at, &factors, left, groups);
            for (int g = 0; g < groups; g++) {
                at->volts[g] += left[g];
                change[g] += left[g];
                at->currents[g] += siemens[g] * change[g] + bend[g];
            }
            for (int n = 0; n < at->earlies; n++) {
                const int k = at->early[n], e = at->emitter[n];
                at->currents[k / 4][k % 4] += at->by_emitter[n] * lane(change, e)
                                              + at->by_collector[n] * lane(change, e + 1);
            }
            return 1;
        }
    }
    return 0;
}

/* From the last solution towards the one sought, in steps that shrink where they must. */
static __attribute__((noinline)) int approach(Junctions *at, const int groups)
{
    Four wanted[MOST_GROUPS], from[MOST_GROUPS], currents[MOST_GROUPS];
    double reached = 0.0, step = 0.5;
    /* The last solution solves the circuit exactly for some open voltages. */
    for (int g = 0; g < groups; g++) {
        wanted[g] = at->open[g];
        from[g] = -at->last[g];
        currents[g] = at->saturation[g] * (four_exp(at->last[g] * at->per_volt[g]) - 1.0);
    }
    add_earlies(at, at->last, currents);
    fed_back(at, currents, from, groups);
    while (reached < 1.0) {
        const double there = reached + step < 1.0 ? reached + step : 1.0;
        for (int g = 0; g < groups; g++) {
            at->open[g] = -from[g] + there * (wanted[g] + from[g]);
            at->volts[g] = at->last[g];
        }
        if (newton(at, groups)) {
            memcpy(at->last, at->volts, sizeof at->last);
            reached = there;
            step *= 2.0;
        } else {
            step *= 0.5;
            if (step < SMALLEST_STEP)
                return 0;
        }
    }
    return 1;
}

/* By what the last three solutions were, or else step by step from the last. */
INLINE int guarded(Junctions *at, const int groups)
{
    for (int g = 0; g < groups; g++) {
        at->volts[g] = 3.0 * (at->last[g] - at->before[g]) + at->earlier[g];
        at->earlier[g] = at->before[g];
        at->before[g] = at->last[g];
    }
    const int found = newton(at, groups) || approach(at, groups);
    for (int g = 0; g < groups; g++)
        at->last[g] = at->volts[g];
    return found;
}
