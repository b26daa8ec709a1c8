#include "string.h"

void *memset(void *to, int c, size_t n)
{
    unsigned char *t = to;

    while (n--)
        *t++ = (unsigned char)c;
    return to;
}

void *memcpy(void *restrict to, const void *restrict from, size_t n)
{
    return memmove(to, from, n);
}

void *memmove(void *to, const void *from, size_t n)
{
    unsigned char *t = to;
    const unsigned char *f = from;

    if (t < f)
        while (n--)
            *t++ = *f++;
    else
        while (n--)
            t[n] = f[n];
    return to;
}

int memcmp(const void *a, const void *b, size_t n)
{
    const unsigned char *x = a, *y = b;

    for (; n--; x++, y++)
        if (*x != *y)
            return *x - *y;
    return 0;
}

int strcmp(const char *a, const char *b)
{
    while (*a && *a == *b)
        a++, b++;
    return (unsigned char)*a - (unsigned char)*b;
}

char *strchr(const char *s, int c)
{
    for (; *s != (char)c; s++)
        if (*s == 0)
            return NULL;
    return (char *)s;
}

size_t strlen(const char *s)
{
    size_t n = 0;

    while (s[n])
        n++;
    return n;
}
