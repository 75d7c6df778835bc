/* Shift: noise registers as linear maps, stepped, unrolled and jumped; equals players.NoisePlayer and shifting.py. */
#include "kernel.h"

static u64 parity(u64 bits)
{
    bits ^= bits >> 16;
    bits ^= bits >> 8;
    bits ^= bits >> 4;
    return 0x6996 >> (bits & 15) & 1;
}

/* The register after one shift. */
u64 shift_once(const struct shift *s, u64 contents)
{
    u64 bit = parity(contents & s->taps) ^ (u64)s->inverted;
    u64 moved = s->left ? contents << 1 & s->full : contents >> 1;
    return (moved & ~s->places) | (bit ? s->places : 0);
}

/* 32 shifts: contents in the low half, output bits after each of them in the high half. */
static u64 unrolled(const struct shift *s, u64 contents)
{
    u64 outputs = 0;
    for (int i = 0; i < SHIFTS_AT_ONCE; i++) {
        contents = shift_once(s, contents);
        outputs |= (contents >> (s->output - 1) & 1) << i;
    }
    return outputs << 32 | contents;
}

/* Fill `many`. The map is affine, so the constant goes into the table of the first byte alone. */
static void make_many(struct shift *s)
{
    u64 constant = unrolled(s, 0);
    for (int byte = 0; byte < 4; byte++) {
        s->many[byte][0] = byte ? 0 : constant;
        for (int bit = 0; bit < 8; bit++) {
            u64 place = (u64)1 << (8 * byte + bit);
            u64 column = place & s->full ? unrolled(s, place) ^ constant : 0;
            for (int i = 0; i < 1 << bit; i++)
                s->many[byte][(1 << bit) + i] = s->many[byte][i] ^ column;
        }
    }
    s->ready = 1;
}

/* Take over a register's options in one mode. */
void shift_set(struct shift *s, const i64 *o, int is_short)
{
    s->bits = (int)o[O_REGISTER_BITS];
    s->full = ((u64)1 << s->bits) - 1;
    s->left = o[O_REGISTER_SHIFT] == REGISTER_SHIFT_LEFT;
    s->inverted = o[O_REGISTER_FEEDBACK] == REGISTER_FEEDBACK_XNOR;
    s->output = (int)(is_short ? o[O_REGISTER_SHORT_OUTPUT] : o[O_REGISTER_OUTPUT]);
    s->taps = (u64)(is_short ? o[O_SHORT_TAPS] : o[O_TAPS]);
    s->places = (u64)1 << (s->left ? 0 : s->bits - 1);
    if (is_short)
        s->places |= (u64)o[O_SHORT_INSERT];
    s->ready = s->squares = 0;
}

/* The register after 32 shifts; `outputs` has the output bit after each, the first in bit 0. */
u64 shift_many(struct shift *s, u64 contents, u64 *outputs)
{
    if (!s->ready)
        make_many(s);
    u64 found = s->many[0][contents & 255] ^ s->many[1][contents >> 8 & 255] ^ s->many[2][contents >> 16 & 255] ^
                s->many[3][contents >> 24 & 255];
    *outputs = found >> 32;
    return found & 0xFFFFFFFF;
}

/* Matrix times vector over GF(2). */
static u64 times(const u64 *columns, u64 vector)
{
    u64 result = 0;
    for (int bit = 0; vector; bit++, vector >>= 1)
        if (vector & 1)
            result ^= columns[bit];
    return result;
}

/* 2^exponent shifts as columns. */
static const u64 *power_of(struct shift *s, int exponent)
{
    if (s->squares == 0) {
        u64 constant = shift_once(s, 0);
        for (int bit = 0; bit < s->bits; bit++)
            s->square[0][bit] = shift_once(s, (u64)1 << bit) ^ constant;
        s->square[0][s->bits] = (u64)1 << s->bits | constant;
        s->squares = 1;
    }
    for (; s->squares <= exponent; s->squares++)
        for (int bit = 0; bit <= s->bits; bit++)
            s->square[s->squares][bit] = times(s->square[s->squares - 1], s->square[s->squares - 1][bit]);
    return s->square[exponent];
}

/* The register after any number of shifts, in a time that follows the logarithm of their number. */
u64 shift_jump(struct shift *s, u64 contents, i64 shifts)
{
    u64 vector = contents | (u64)1 << s->bits;
    for (int exponent = 0; shifts; exponent++, shifts >>= 1)
        if (shifts & 1)
            vector = times(power_of(s, exponent), vector);
    return vector & s->full;
}
