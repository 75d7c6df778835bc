/* Ticks: tick arithmetic. Blocks that count ticks are not visited at ticks; equals countdown.py. */
#include <stdlib.h>

#include "kernel.h"

i64 held_sum(i64 a, i64 b)
{
    i64 sum;
    return __builtin_add_overflow(a, b, &sum) ? NEVER : sum;
}

/* Product of two numbers that are not negative. */
i64 held_product(i64 a, i64 b)
{
    i64 product;
    return __builtin_mul_overflow(a, b, &product) ? NEVER : product;
}

/* How many ticks of a turn lie at most `since` after its step 0. */
static i64 places_within(const struct train *t, i64 since)
{
    i64 low = 0, high = t->places;
    while (low < high) { /* invariant: places below `low` lie within, those from `high` on do not */
        i64 middle = low + (high - low) / 2;
        if (t->place[middle] <= since)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* The number of the first tick after an edge, counted from step 0, which is at most one edge later. */
static i64 tick_number(const struct train *t, const i64 *epoch, i64 edge)
{
    i64 since = edge - epoch[E_ORIGIN];
    i64 turns = since / t->turn;
    return turns * t->places + places_within(t, since - turns * t->turn);
}

/* The last edge before anything can tick in an epoch. */
static i64 floor_of(const i64 *epoch)
{
    i64 lowest = epoch[E_LOWEST] > epoch[E_BEGIN] ? epoch[E_LOWEST] : epoch[E_BEGIN];
    return lowest - 1;
}

/* The epoch that an edge is in; the first one where the edge lies before it. */
static i64 epoch_at(const struct train *t, i64 edge)
{
    i64 low = 0, high = t->epochs - 1;
    while (low < high) {
        i64 middle = low + (high - low + 1) / 2;
        if (t->epoch[middle * EPOCH_COLUMNS + E_BEGIN] <= edge)
            low = middle;
        else
            high = middle - 1;
    }
    return low;
}

/* Ticks of one epoch up to and with an edge. */
static i64 ticks_within(const struct train *t, i64 index, i64 edge)
{
    const i64 *epoch = t->epoch + index * EPOCH_COLUMNS;
    i64 floor = floor_of(epoch);
    return edge > floor ? tick_number(t, epoch, edge) - tick_number(t, epoch, floor) : 0;
}

/* Ticks of the whole train up to and with an edge. */
static i64 ticks_until(const struct train *t, i64 edge)
{
    i64 index = epoch_at(t, edge);
    return t->before[index] + ticks_within(t, index, edge);
}

/* Take over a train and count its ticks before each epoch; return 0 where memory runs out. */
int train_set(struct train *t, const i64 *columns, const i64 *places, const i64 *epochs)
{
    t->every = columns[T_EVERY];
    t->turn = columns[T_TURN];
    t->places = columns[T_PLACES];
    t->place = places + columns[T_FIRST_PLACE];
    t->epochs = columns[T_EPOCHS];
    t->epoch = epochs + columns[T_FIRST_EPOCH] * EPOCH_COLUMNS;
    t->before = NULL;
    if (t->places == 0)
        return 1;
    t->before = malloc((size_t)t->epochs * sizeof *t->before);
    if (!t->before)
        return 0;
    t->before[0] = 0;
    for (i64 i = 1; i < t->epochs; i++) {
        i64 last = t->epoch[i * EPOCH_COLUMNS + E_BEGIN] - 1;
        t->before[i] = t->before[i - 1] + ticks_within(t, i - 1, last);
    }
    return 1;
}

/* Whether it ticks at an edge. */
int train_at(const struct train *t, i64 edge)
{
    const i64 *epoch = t->epoch + epoch_at(t, edge) * EPOCH_COLUMNS;
    if (edge < epoch[E_LOWEST])
        return 0;
    return tick_number(t, epoch, edge) != tick_number(t, epoch, edge - 1);
}

/* Number of ticks in after < edge <= up_to. */
i64 train_between(const struct train *t, i64 after, i64 up_to)
{
    return ticks_until(t, up_to) - ticks_until(t, after);
}

/* Edge of the n-th tick after an edge; n is 1 or more. */
i64 train_nth_after(const struct train *t, i64 edge, i64 n)
{
    i128 wanted = (i128)ticks_until(t, edge) + n;
    i64 low = 0, high = t->epochs - 1;
    while (low < high) { /* the last epoch before which there are fewer ticks than are wanted */
        i64 middle = low + (high - low + 1) / 2;
        if (t->before[middle] < wanted)
            low = middle;
        else
            high = middle - 1;
    }
    const i64 *epoch = t->epoch + low * EPOCH_COLUMNS;
    i128 number = tick_number(t, epoch, floor_of(epoch)) + (wanted - t->before[low]) - 1;
    if (number > (i128)5 << 60) /* a turn has no more ticks than cycles */
        return NEVER;
    i64 turns = (i64)number / t->places;
    i128 found = (i128)turns * t->turn + t->place[(i64)number - turns * t->places] + epoch[E_ORIGIN];
    return found < NEVER ? (i64)found : NEVER;
}
