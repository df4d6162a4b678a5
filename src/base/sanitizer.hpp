#pragma once

// Whether this is a build with a sanitizer that keeps its own picture of the memory: gcc says so by a macro, clang by a
// feature.
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define SHAFTLOG_SANITIZED 1
#elif defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
#define SHAFTLOG_SANITIZED 1
#endif
#endif
#ifndef SHAFTLOG_SANITIZED
#define SHAFTLOG_SANITIZED 0
#endif
