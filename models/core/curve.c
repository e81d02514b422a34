/* A static curve, averaged round each sample: first-order antialiasing by two antiderivatives.

   Between two samples the signal is taken as a straight line, and the output is the mean of the
   curve along it, weighted by a triangle that ends at both neighbours. Along a line from x by d
   that is, for the sample before, (F2(x + d) - F2(x) - d F1(x)) / d^2, with F1 the curve's
   antiderivative and F2 that of F1. */

#include "four.h"

/* The curve, its antiderivative and that one's, at nodes; outside them the curve is flat. */
typedef struct {
    const double *curve, *once, *twice;
    int last;
    double first, step, end;
} Curves;

/* The cubic with its values and slopes at the nodes. */
INLINE double between(const Curves *c, const double *slopes, const double *values, double place)
{
    const int at = (int)place, i = at < c->last ? at : c->last - 1;
    const double t = place - (double)i, step = c->step, rise = values[i + 1] - values[i];
    const double start = step * slopes[i], stop = step * slopes[i + 1];
    const double bend = start + stop - 2.0 * rise;
    return values[i] + t * (start + t * ((rise - start) - bend + t * bend));
}

INLINE void integrals(const Curves *c, double x, double *once, double *twice)
{
    if (c->first < x && x < c->end) {
        const double place = (x - c->first) / c->step;
        *once = between(c, c->curve, c->once, place);
        *twice = between(c, c->once, c->twice, place);
        return;
    }
    const int near = x <= c->first ? 0 : c->last;
    const double beyond = x - (x <= c->first ? c->first : c->end);
    *once = c->once[near] + beyond * c->curve[near];
    *twice = c->twice[near] + beyond * (c->once[near] + 0.5 * beyond * c->curve[near]);
}

INLINE double curve_at(const Curves *c, double x)
{
    double place = (x - c->first) / c->step;
    place = place > 0.0 ? place : 0.0;
    place = place < (double)c->last ? place : (double)c->last;
    int i = (int)place;
    if (i > c->last - 1)
        i = c->last - 1;
    return c->curve[i] + (place - (double)i) * (c->curve[i + 1] - c->curve[i]);
}

/* The signal is a ring, three rows of `curves` at `nodes` from `first` on, `step` apart; lines
   shorter than `shortest` are integrated by quadrature, which a quotient of small differences
   would lose. */
FACE(shape) void shape(const double *curves, int nodes, double first, double step, double shortest,
                       const double *signal, double *output, int samples)
{
    const Curves c = {curves, curves + nodes, curves + 2 * nodes, nodes - 1, first, step,
                      first + (double)(nodes - 1) * step};
    /* Gauss-Legendre points on 0 to 1 and their weights: exact to the fifth order. */
    const double points[] = {0.5 - sqrt(0.15), 0.5, 0.5 + sqrt(0.15)};
    const double weights[] = {5.0 / 18.0, 8.0 / 18.0, 5.0 / 18.0};
    double previous = signal[samples - 1], here, here_twice;
    integrals(&c, previous, &here, &here_twice);
    memset(output, 0, samples * sizeof(double));
    for (int n = 0; n < samples; n++) {
        const double x = signal[n], difference = x - previous;
        double there, there_twice;
        double *before = output + (n > 0 ? n : samples) - 1;
        integrals(&c, x, &there, &there_twice);
        if (fabs(difference) > shortest) {
            const double change = there_twice - here_twice, inverse = 1.0 / (difference * difference);
            *before += (change - difference * here) * inverse;
            output[n] += (difference * there - change) * inverse;
        } else {
            for (int k = 0; k < 3; k++) {
                const double value = weights[k] * curve_at(&c, previous + points[k] * difference);
                *before += (1.0 - points[k]) * value;
                output[n] += points[k] * value;
            }
        }
        previous = x;
        here = there;
        here_twice = there_twice;
    }
}
