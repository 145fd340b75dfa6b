/** The frame that all web pages share: layout, navigation, security headers, assets. */
@NullMarked
package dev.cistern.page;

import org.jspecify.annotations.NullMarked;
