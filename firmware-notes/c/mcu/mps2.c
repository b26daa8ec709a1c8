#include "mps2.h"

#define REGISTER(address) (*(volatile uint32_t *)(address))

/* UART 0, and its bits. */
#define UART_DATA REGISTER(0x40004000u)
#define UART_STATE REGISTER(0x40004004u)
#define UART_CONTROL REGISTER(0x40004008u)
#define UART_DIVIDER REGISTER(0x40004010u)
enum { SEND_FULL = 1, RECEIVE_FULL = 2, SEND_ON = 1, RECEIVE_ON = 2 };

/* The core's own timer. */
#define TICK_CONTROL REGISTER(0xE000E010u)
#define TICK_RELOAD REGISTER(0xE000E014u)
#define TICK_VALUE REGISTER(0xE000E018u)
enum { TICK_ON = 1, TICK_INTERRUPT = 2, TICK_CORE = 4 };

enum { CORE_HZ = 25000000, BAUD = 115200 };

static volatile uint32_t milliseconds;

static void tick(void)
{
    milliseconds++;
}

static void stuck(void)
{
    for (;;)
        ;
}

int main(void);
void start(void);
extern uint32_t data_start[], data_end[], data_load[], bss_start[], bss_end[], stack_top[];

void start(void)
{
    for (uint32_t *to = data_start, *from = data_load; to < data_end;)
        *to++ = *from++;
    for (uint32_t *to = bss_start; to < bss_end;)
        *to++ = 0;
    main();
    stuck();
}

/* What the core does at power-up, at faults, and at a tick. */
struct vectors {
    uint32_t *stack;
    void (*handler[15])(void);
};

__attribute__((section(".vectors"), used)) static const struct vectors vectors = {
    stack_top,
    { start, stuck, stuck, stuck, stuck, stuck, stuck, stuck, stuck, stuck, stuck, stuck, stuck, stuck, tick }
};

void mps2_start(void)
{
    UART_DIVIDER = CORE_HZ / BAUD;
    UART_CONTROL = SEND_ON | RECEIVE_ON;
    TICK_RELOAD = CORE_HZ / 1000 - 1;
    TICK_VALUE = 0;
    TICK_CONTROL = TICK_ON | TICK_INTERRUPT | TICK_CORE;
}

uint32_t mps2_ms(void)
{
    return milliseconds;
}

void mps2_count(void)
{
    TICK_CONTROL = 0;
    TICK_RELOAD = 0xFFFFFF;
    TICK_VALUE = 0;
    TICK_CONTROL = TICK_ON | TICK_CORE;
}

uint32_t mps2_ticks(void)
{
    return TICK_VALUE;
}

void mps2_send(const char *text, size_t n)
{
    while (n--) {
        while (UART_STATE & SEND_FULL)
            ;
        UART_DATA = (unsigned char)*text++;
    }
}

int mps2_receive(void)
{
    return UART_STATE & RECEIVE_FULL ? (int)(UART_DATA & 0xFF) : -1;
}

void mps2_end(void)
{
    register uint32_t what __asm__("r0") = 0x18;   /* semihosting: exit, */
    register uint32_t how __asm__("r1") = 0x20026; /* all well */

    __asm__ volatile("bkpt 0xAB" : : "r"(what), "r"(how) : "memory");
}
